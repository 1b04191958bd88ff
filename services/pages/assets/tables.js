// Says above a table that more of it is beside the edge of its box, and folds long
// tables. Without this file the shadow at the edge says so, and all rows are there.
(() => {
  'use strict';

  // A table with more rows than this shows its first ones until it is asked for all.
  const rowsMost = 25;
  const rowsFirst = 15;
  const unfolded = new WeakSet();
  const buttonOf = (table) => {
    const beside = table.parentElement.nextElementSibling;
    return beside?.matches('button.unfold') ? beside : undefined;
  };
  const fold = (table) => {
    const rows = [...(table.tBodies[0]?.rows ?? [])];
    const starts = rows.filter((row) => !row.classList.contains('remark'));
    const long = starts.length > rowsMost && !unfolded.has(table);
    const folded = long ? rows.slice(rows.indexOf(starts[rowsFirst])) : [];
    for (const row of rows) row.classList.toggle('folded', folded.includes(row));
    let all = buttonOf(table);
    if (!long) {
      all?.remove();
      return;
    }
    if (!all) {
      all = document.createElement('button');
      all.type = 'button';
      all.className = 'unfold';
      all.setAttribute('aria-describedby', table.caption?.id ?? '');
      table.parentElement.after(all);
    }
    all.textContent = table.parentElement.dataset.all.replace('{n}', starts.length);
    all.onclick = () => {
      unfolded.add(table);
      fold(table);
      starts[rowsFirst].tabIndex = -1;
      starts[rowsFirst].focus(); // the button goes, and its reader stays where the new rows begin
    };
  };

  const boxes = () => [...document.querySelectorAll('.scroll')];
  const measure = () => boxes().forEach((box) => {
    const wide = box.scrollWidth > box.clientWidth + 1;
    box.classList.toggle('wide', wide);
    const hint = box.previousElementSibling;
    if (hint?.classList.contains('sideways')) hint.hidden = !wide;
  });
  const arrange = () => {
    document.querySelectorAll('.scroll > table').forEach(fold);
    measure();
  };
  arrange();
  window.addEventListener('resize', measure);
  document.addEventListener('redrawn', arrange);
  // A table in a part that was closed has its width only once that is open.
  document.addEventListener('toggle', measure, true);
})();
