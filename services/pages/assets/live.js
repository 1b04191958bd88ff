// Keeps a page up to date, or says that new records came in where the page is one to be
// read in peace. What is brought up to date stays where it is: focus, scroll, what was
// typed and what was opened are the reader's.
(() => {
  'use strict';
  const notice = document.querySelector('[data-watch]');
  if (!notice || !window.EventSource) return;
  const { job } = notice.dataset;
  const redraws = 'redraws' in notice.dataset;
  const place = notice.querySelector('[data-say]');
  const reload = notice.querySelector('a');
  const root = document.documentElement;

  const clock = (at) => new Intl.DateTimeFormat(root.lang, { hour: '2-digit', minute: '2-digit', hourCycle: 'h23' }).format(at);
  const told = (name, values = {}) => Object.entries(values)
    .reduce((text, [key, value]) => text.replaceAll(`{${key}}`, value), (name === 'say' ? place : notice).dataset[name]);
  const shownFor = 10_000;
  let hiding;
  // say shows a text, and with it screen readers tell it once their reader pauses.
  const say = (text, { leads = false, stays = false } = {}) => {
    clearTimeout(hiding);
    notice.hidden = false;
    reload.hidden = !leads;
    if (place.textContent !== text) place.textContent = text;
    if (!stays) hiding = setTimeout(() => { notice.hidden = true; place.textContent = ''; }, shownFor);
  };

  // What scripts put on the page is not in what the server sends.
  const own = (node) => node.nodeType === Node.ELEMENT_NODE && node.matches('[data-own], button.unfold');
  const ownClasses = ['folded', 'wide', 'fresh'];
  let fresh = [];

  const sameAttributes = (old, next) => {
    const held = ownClasses.filter((name) => old.classList.contains(name));
    for (const { name } of [...old.attributes]) {
      if (!next.hasAttribute(name) && !['style', 'open', 'tabindex'].includes(name)) old.removeAttribute(name);
    }
    for (const { name, value } of next.attributes) {
      if (name !== 'open' && name !== 'hidden' && old.getAttribute(name) !== value) old.setAttribute(name, value);
    }
    old.classList.add(...held);
    if (old.classList.length === 0) old.removeAttribute('class');
  };

  // become makes the content of one element that of another, and touches nothing that is
  // the same already. Rows are told apart by their keys, all else by its place.
  const become = (old, next) => {
    if (old.isEqualNode(next)) return;
    if (old.nodeName !== next.nodeName) {
      old.replaceWith(next);
      return;
    }
    if (old.nodeType !== Node.ELEMENT_NODE) {
      old.data = next.data;
      return;
    }
    if (old.matches('.chart')) {
      Object.assign(old.dataset, next.dataset);
      old.dispatchEvent(new Event('stale', { bubbles: true }));
      return;
    }
    if (old.dataset.key && old.textContent !== next.textContent) fresh.push(old);
    sameAttributes(old, next);
    const keyed = new Map([...old.children].filter((child) => child.dataset.key).map((child) => [child.dataset.key, child]));
    const stay = new Set([...next.children].map((child) => child.dataset.key));
    for (const [key, child] of keyed) if (!stay.has(key)) child.remove();
    let at = old.firstChild;
    const skip = () => { while (at && own(at)) at = at.nextSibling; };
    for (const child of [...next.childNodes]) {
      skip();
      const { key } = child.dataset ?? {};
      const known = key && keyed.get(key);
      if (key && !known) fresh.push(child);
      if (known) {
        if (known === at) at = at.nextSibling;
        else old.insertBefore(known, at);
        become(known, child);
      } else if (at && !key && !at.dataset?.key) {
        const from = at;
        at = at.nextSibling;
        become(from, child);
      } else old.insertBefore(child, at);
    }
    for (skip(); at; skip()) {
      const rest = at;
      at = at.nextSibling;
      rest.remove();
    }
  };

  // keepPlace changes the page and leaves what the reader looks at where it stood.
  const keepPlace = (change) => {
    const focused = document.activeElement;
    const top = (element) => element.getBoundingClientRect().top;
    const anchor = window.scrollY > 0 && [...document.querySelectorAll('[data-key], h2, caption')].find((element) => top(element) >= 0);
    const before = anchor && top(anchor);
    change();
    if (anchor?.isConnected) window.scrollBy({ top: top(anchor) - before, behavior: 'instant' });
    if (focused === document.activeElement) return;
    if (focused.isConnected) { // it was moved
      focused.focus({ preventScroll: true });
      return;
    }
    // The row went to another table: its reader goes with it.
    const address = focused.getAttribute('href');
    const again = address && [...document.querySelectorAll('main a')].find((link) => link.getAttribute('href') === address);
    (again || document.querySelector('main h1')).focus({ preventScroll: true });
  };

  const nameOf = (element) => (element.querySelector('th a') ?? element.querySelector('th, .what') ?? element).textContent.trim();

  const show = (text) => {
    const next = new DOMParser().parseFromString(text, 'text/html');
    const parts = ['main', 'footer.site'];
    const scripts = (page) => [...page.querySelectorAll('script[src]')].map((script) => script.getAttribute('src')).join(' ');
    if (scripts(next) !== scripts(document)) return false; // another version, or the page's first chart
    next.querySelector('[data-watch]')?.parentElement.replaceWith(notice.parentElement.cloneNode(true));
    for (const row of document.querySelectorAll('.fresh')) row.classList.remove('fresh');
    fresh = [];
    keepPlace(() => parts.forEach((part) => become(document.querySelector(part), next.querySelector(part))));
    for (const chart of document.querySelectorAll('.chart[data-src]:empty')) chart.dispatchEvent(new Event('stale', { bubbles: true }));
    fresh = [...new Set(fresh)].filter((row) => row.isConnected);
    for (const row of fresh) row.classList.add('fresh');
    document.dispatchEvent(new Event('redrawn'));
    if (fresh.length === 0) return true;
    const [what] = fresh.map(nameOf);
    say(told(fresh.length === 1 ? 'redrawn' : 'redrawnMore', { time: clock(new Date()), what, n: fresh.length - 1 }));
    return true;
  };

  // One redraw at a time, and the longer one took, the longer until the next.
  const pauseLeast = 2000;
  let wanted = false;
  let drawing = false;
  const redraw = async () => {
    wanted = true;
    if (drawing) return;
    drawing = true;
    while (wanted) {
      wanted = false;
      const begun = performance.now();
      try {
        const answer = await fetch(location.href, { headers: { Accept: 'text/html' } });
        if (!answer.ok || answer.redirected || !show(await answer.text())) say(told('say'), { leads: true, stays: true });
      } catch {
        say(told('say'), { leads: true, stays: true }); // the line says for itself that it is cut
      }
      const took = performance.now() - begun;
      await new Promise((again) => { setTimeout(again, Math.max(pauseLeast, 5 * took)); });
    }
    drawing = false;
  };
  const changed = redraws ? redraw : () => say(told('say'), { leads: true, stays: true });

  // The browser would ask again every few seconds for ever. Pauses grow here, and what
  // changed meanwhile is told from the last position on.
  const retryFirst = 3000;
  const retryMost = 60_000;
  let last = notice.dataset.after;
  let source;
  let retry;
  let failed = 0;
  const close = () => {
    clearTimeout(retry);
    source?.close();
    source = undefined;
  };
  const open = () => {
    close();
    const address = new URL(notice.dataset.watch, location.href);
    if (last) address.searchParams.set('after', last);
    source = new EventSource(address);
    source.addEventListener('open', () => {
      if (failed > 1) say(told('back'));
      failed = 0;
    });
    source.addEventListener('job.changed', (message) => {
      last = message.lastEventId;
      const { job: of } = JSON.parse(message.data);
      if (!job || of === job || of === 'firm') changed();
    });
    source.addEventListener('reset', (message) => {
      last = message.lastEventId;
      changed();
    });
    source.addEventListener('error', () => {
      close();
      failed += 1;
      if (failed === 1) notice.dataset.since = clock(new Date());
      if (failed === 2) say(told('lost', { time: notice.dataset.since }), { stays: true });
      const pause = Math.min(retryMost, retryFirst * 2 ** (failed - 1)) * (0.75 + Math.random() / 2);
      retry = setTimeout(open, pause);
    });
  };
  // Nobody looks at a page in the background, and browsers have few lines to one server.
  const look = () => { if (document.visibilityState === 'visible') { if (!source) open(); } else close(); };
  document.addEventListener('visibilitychange', look);
  window.addEventListener('online', () => { if (!source) open(); });
  window.addEventListener('pagehide', close);
  window.addEventListener('pageshow', (event) => { if (event.persisted) look(); });
  look();
})();
