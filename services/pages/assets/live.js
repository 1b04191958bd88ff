// Says when new records came in. It never changes what is being read: the
// reader reloads when it suits.
(() => {
  'use strict';
  const notice = document.querySelector('[data-watch]');
  if (!notice || !window.EventSource) return;
  const job = notice.dataset.job;
  const show = () => {
    notice.hidden = false;
    const place = notice.querySelector('[data-say]');
    place.textContent = place.dataset.say;
  };
  const source = new EventSource(notice.dataset.watch);
  source.addEventListener('job.changed', (message) => {
    const changed = JSON.parse(message.data);
    if (!job || changed.job === job || changed.job === 'firm') show();
  });
  source.addEventListener('reset', show);
  // A page that the browser keeps for the way back must not hold a connection.
  window.addEventListener('pagehide', () => source.close());
})();
