// Says above a table that more of it is beside the edge of its box. Without this
// file the shadow at the edge says so.
(() => {
  'use strict';
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
