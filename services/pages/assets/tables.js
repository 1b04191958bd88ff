// Says above a table that more of it is beside the edge of its box, and folds long
// tables. Without this file the shadow at the edge says so, and all rows are there.
(() => {
  'use strict';

  // A table with more rows than this shows its first ones until it is asked for all.
  const rowsMost = 25;
  const rowsFirst = 15;
  for (const table of document.querySelectorAll('.scroll > table')) {
    const rows = [...(table.tBodies[0]?.rows ?? [])];
    const starts = rows.filter((row) => !row.classList.contains('remark'));
    if (starts.length <= rowsMost) continue;
    const folded = rows.slice(rows.indexOf(starts[rowsFirst]));
    for (const row of folded) row.classList.add('folded');
    const all = document.createElement('button');
    all.type = 'button';
    all.className = 'unfold';
    all.textContent = table.parentElement.dataset.all.replace('{n}', starts.length);
    all.setAttribute('aria-describedby', table.caption?.id ?? '');
    all.addEventListener('click', () => {
      for (const row of folded) row.classList.remove('folded');
      starts[rowsFirst].tabIndex = -1;
      starts[rowsFirst].focus(); // the button goes, and its reader stays where the new rows begin
      all.remove();
    });
    table.parentElement.after(all);
  }

  const boxes = [...document.querySelectorAll('.scroll')];
  const measure = () => boxes.forEach((box) => {
    const wide = box.scrollWidth > box.clientWidth + 1;
    box.classList.toggle('wide', wide);
    const hint = box.previousElementSibling;
    if (hint?.classList.contains('sideways')) hint.hidden = !wide;
  });
  measure();
  window.addEventListener('resize', measure);
  // A table in a part that was closed has its width only once that is open.
  document.addEventListener('toggle', measure, true);
})();
