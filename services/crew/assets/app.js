// Puts the page together: which view the address asks for, what is kept, what is sent.
import { fetchDay, withOutbox } from './day.js';
import { h } from './dom.js';
import { makeForm, rawOf, settled } from './form.js';
import { kindOf, kinds } from './kinds.js';
import { dayName, speak } from './numbers.js';
import { add, again, condition, discard, makeEvent, mend, newItem, onChange, send, stamp, takeBack } from './outbox.js';
import { say } from './say.js';
import { all, put, read, remove } from './store.js';
import { helpView, jobView, outboxView, todayView, why } from './views.js';
import { says } from './words.js';

const main = document.getElementById('main');
const known = { day: undefined, kept: null, refused: false, items: [], me: '', said: '' };
const clockOff = 5 * 60 * 1000;
const longWait = 24 * 3600 * 1000;

const jobNow = (key) => {
  const job = known.day?.jobs.find((j) => j.job === key);
  return job && withOutbox(job, known.day, known.items);
};

const noticeOf = new Map();
const notice = (name, text, ...actions) => {
  noticeOf.get(name)?.remove();
  noticeOf.delete(name);
  if (!text) return;
  const box = h('div', { class: 'notice', id: `notice-${name}` }, h('p', { role: 'alert' }, text), actions);
  noticeOf.set(name, box);
  document.getElementById('notices').append(box);
};

// stopped says why nothing is sent now.
const stopped = (condition) => {
  switch (condition) {
    case 'offline': return say('crew.state.offline');
    case 'signed-out': return say('crew.state.signed-out');
    case 'other-firm': return say('crew.state.other-firm');
    case 'no-photos': return say('crew.state.no-photos');
    default: return '';
  }
};

const showState = () => {
  const waiting = known.items.filter((i) => i.state === 'waiting').length;
  const rejected = known.items.filter((i) => i.state === 'rejected').length;
  const parts = [known.said, waiting > 0 && say('crew.state.waiting', { n: waiting }), waiting > 0 && stopped(condition.now),
    rejected > 0 && say('crew.state.rejected', { n: rejected }), waiting + rejected === 0 && say('crew.state.all-sent')];
  const text = parts.filter(Boolean).join(' ');
  const line = document.getElementById('state');
  if (line.textContent !== text) line.textContent = text;
  document.getElementById('count').textContent = waiting + rejected > 0 ? `(${waiting + rejected})` : '';
  const since = Math.min(...known.items.filter((i) => i.state === 'waiting').map((i) => i.since));
  notice('old', since < Date.now() - longWait && say('crew.notice.old'));
  const minutes = Math.round(Math.abs(condition.skew) / 60000);
  notice('clock', Math.abs(condition.skew) > clockOff &&
    (condition.skew > 0 ? say('crew.notice.ahead', { n: minutes }) : say('crew.notice.behind', { n: minutes })));
  notice('refused', known.refused && say('crew.notice.refused'));
  const kept = known.kept && stamp(new Date(known.kept));
  notice('kept', kept && say('crew.notice.kept', { day: dayName(kept.slice(0, 10)), time: kept.slice(11, 16) }));
};

const goTo = (hash) => {
  history.replaceState(null, '', location.pathname + (hash ? `#${hash}` : ''));
  render();
};

// backTo leads from a form to the page that it belongs to. What was typed is kept.
const backTo = (text) => h('p', { class: 'back' }, h('a', { href: location.pathname, onclick: (event) => {
  event.preventDefault();
  known.said = '';
  goTo('');
} }, say('crew.back', { page: text })));

const store = async (job, kind, { data, key, remember }) => {
  const event = makeEvent(job.job, kinds[kind].type, data);
  await add([newItem(known.day.firm, kind, event)], ['drafts', 'kept'], ({ drafts, kept }) => {
    drafts.delete(key);
    kept.put({ key: `last:${kind}`, values: remember });
    if (remember.person) kept.put({ key: 'me', person: remember.person });
  });
  known.said = say('crew.saved', { what: says(known.day, kind, data) });
  navigator.storage?.persist?.();
  await refresh();
  goTo('');
};

const entryOf = (job, id) => [...job.today, ...job.last].find((e) => e.id === id);

// formFor returns what the part of the address after # asks for; undefined for no form.
const formFor = async (job, name, id) => {
  const today = stamp().slice(0, 10);
  let kind = name;
  let start = {};
  if (name === 'again') {
    const entry = entryOf(job, id);
    if (!entry) return undefined;
    kind = kindOf(entry.type);
    start = { ...rawOf(kind, entry.data), day: today };
    delete start.photos;
  } else if (name === 'void') {
    const entry = entryOf(job, id);
    if (!entry) return undefined;
    start = { event: id };
  } else if (name === 'lifted' || name === 'checked') start = { laid: id ?? (job.down.length === 1 ? job.down[0].laid : undefined) };
  else if (name === 'good') start = { damage: id };
  else if (name === 'cleared') start = { snag: id };
  if (!kinds[kind]) return undefined;
  const key = `${known.day.firm}/${job.job}#${name}${id ? `=${id}` : ''}`;
  const save = async (saved) => {
    const entry = kind === 'void' && entryOf(job, id);
    if (entry?.seq !== undefined && await takeBack(entry.seq)) {
      await remove('drafts', saved.key);
      known.said = say('crew.taken-back-unsent');
      await refresh();
      goTo('');
      return;
    }
    await store(job, kind, saved);
  };
  const form = await makeForm({ kind, day: known.day, job, key, start, save });
  const about = kind === 'void' && says(known.day, kindOf(entryOf(job, id).type), entryOf(job, id).data);
  return [backTo(job.title || job.job), about && h('p', {}, about), form];
};

const editFor = async (seq) => {
  const item = known.items.find((i) => i.seq === seq && i.state === 'rejected');
  const job = item && (jobNow(item.event.subject) ?? { job: item.event.subject, places: [], surfaces: [], methods: [], tasks: [], products: [], down: [], damage: [], snags: [] });
  if (!job) return undefined;
  const { event, kind, reason } = item;
  const eventDay = event.time.slice(0, 10);
  const save = async ({ data, key }) => {
    // An id that the ledger holds with other content is of another action.
    const changed = makeEvent(event.subject, event.type, data, reason?.status === 409 ? undefined : event.id, event.time);
    await mend(seq, changed, key);
    known.said = say('crew.saved', { what: says(known.day, kind, data) });
    await refresh();
    goTo('');
  };
  const form = await makeForm({ kind, day: known.day, job, key: `edit=${seq}`, start: rawOf(kind, event.data, eventDay), eventDay, save });
  return [backTo(say('crew.outbox')), why(item), form];
};

const repeatHours = async (entries, button) => {
  button.disabled = true; // a second tap would book them twice
  const items = entries.map((e) => {
    const { day, ...data } = e.data;
    return newItem(known.day.firm, 'hours', makeEvent(location.pathname.split('/').pop(), kinds.hours.type, data));
  });
  await add(items);
  known.said = items.length === 1 ? say('crew.booked-again.one') : say('crew.booked-again.many', { n: items.length });
  await refresh();
};

// download writes entries as a batch of CloudEvents, which the ledger takes as it is.
const download = (items) => {
  const blob = new Blob([JSON.stringify(items.map((i) => i.event), null, 2)], { type: 'application/json' });
  const address = URL.createObjectURL(blob);
  h('a', { href: address, download: 'daysheet-outbox.json' }).click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
};

const act = {
  again: async (item) => { await again(item.seq); },
  discard: async (item) => { await discard(item.seq); },
  export: download,
  send: () => send(true),
};

const chooseMe = async (person) => {
  known.me = person;
  await put('kept', { key: 'me', person });
};

const noList = () => [h('p', {}, known.refused ? say('crew.no-list.refused') : say('crew.no-list'))];

const view = async () => {
  const [name, id] = decodeURIComponent(location.hash.slice(1)).split('=');
  const page = location.pathname;
  if (page === '/crew/help') return { title: say('crew.help'), content: helpView(known.day) };
  if (page === '/crew/outbox') {
    const form = name === 'edit' && known.day && await editFor(Number(id));
    if (form) return { title: say('crew.change-entry'), content: form, form: true };
    return { title: say('crew.outbox'), content: outboxView({ day: known.day, items: known.items, act }) };
  }
  if (!known.day) return { title: say('crew.title'), content: noList() };
  if (page.startsWith('/crew/jobs/')) {
    const job = jobNow(page.split('/').pop());
    if (!job) return { title: say('crew.job'), content: [
      h('p', {}, say('crew.job.gone')), h('p', { class: 'back' }, h('a', { href: '/crew' }, say('crew.jobs.all')))] };
    const form = name && await formFor(job, name, id);
    if (form) return { title: form.at(-1).getAttribute('aria-label'), content: form, form: true };
    return { title: job.title || job.job, content: jobView({ day: known.day, job, repeatHours }) };
  }
  return { title: say('crew.today'), content: todayView({ day: known.day, jobs: known.day.jobs.map((j) => jobNow(j.job)), me: known.me, chooseMe }) };
};

let shown = { address: '', print: '', form: false };

// draw draws the view where it is not the one that is shown. A form is left alone until
// its reader leaves it; a list is drawn anew where something has changed.
const draw = async () => {
  const address = location.href;
  const print = JSON.stringify([known.day?.as_of, known.day?.today, known.refused, known.me, known.items.map((i) => [i.seq, i.state, i.reason])]);
  if (shown.address === address && (shown.form || shown.print === print)) return;
  const { title, content, form = false } = await view();
  if (location.href !== address) {
    stale = true;
    return;
  }
  const same = shown.address === address;
  const active = same && document.activeElement?.id;
  const top = same ? main.scrollTop : 0;
  main.replaceChildren(h('h1', { tabindex: -1 }, title), ...content.filter(Boolean));
  document.title = `${title} · daysheet`;
  document.querySelectorAll('nav a').forEach((a) => {
    if (a.pathname === location.pathname) a.setAttribute('aria-current', 'page');
    else a.removeAttribute('aria-current');
  });
  main.scrollTop = top;
  if (active) document.getElementById(active)?.focus();
  else if (!same && shown.address) main.querySelector('h1').focus();
  shown = { address, print, form };
  main.dataset.shown = address;
};

let stale = false;
let drawing;

// render shows how things are now. Views are drawn one after the other: who asks while
// one is drawn gets another look after it.
const render = () => {
  showState();
  stale = true;
  drawing ??= (async () => {
    try {
      while (stale) {
        stale = false;
        await draw();
      }
    } finally {
      drawing = undefined;
    }
  })();
  return drawing;
};

const refresh = async () => {
  known.items = await all('outbox');
  await render();
};

let fetching;
const load = () => {
  fetching ??= (async () => {
    try {
      const { day, kept = null, refused = false } = await fetchDay();
      known.kept = kept;
      known.refused = refused;
      if (refused) known.day = undefined;
      else if (day) {
        known.day = day;
        speak(day.locale);
      }
      await refresh();
    } finally {
      fetching = undefined;
    }
  })();
  return fetching;
};

const offerVersion = (worker) => notice('version', say('crew.notice.version'),
  h('button', { id: 'use-version', onclick: async () => { await settled(); worker.postMessage('use'); } }, say('crew.notice.use')));

const startWorker = async () => {
  const { serviceWorker } = navigator;
  let controlled = Boolean(serviceWorker.controller);
  serviceWorker.addEventListener('controllerchange', async () => {
    await settled();
    if (controlled) location.reload();
    else await load(); // so that the list is kept from the first visit on
    controlled = true;
    document.documentElement.dataset.kept = 'yes';
  });
  const registration = await serviceWorker.register('/crew/sw.js', { scope: '/crew', updateViaCache: 'none' });
  if (registration.waiting && controlled) offerVersion(registration.waiting);
  registration.addEventListener('updatefound', () => {
    const worker = registration.installing;
    worker.addEventListener('statechange', () => { if (worker.state === 'installed' && serviceWorker.controller) offerVersion(worker); });
  });
  if (controlled) document.documentElement.dataset.kept = 'yes';
};

const start = async () => {
  document.querySelector('.skip').addEventListener('click', (event) => {
    event.preventDefault();
    main.focus();
  });
  if (!window.isSecureContext) {
    notice('insecure', say('crew.notice.insecure'));
    document.getElementById('state').textContent = '';
    return;
  }
  window.addEventListener('hashchange', () => { known.said = ''; render(); });
  window.addEventListener('online', () => { send(true); load(); });
  document.addEventListener('visibilitychange', () => { if (document.visibilityState === 'visible') { send(true); load(); } });
  let sent = 0;
  onChange(async () => {
    await refresh();
    const done = known.items.filter((i) => i.state === 'done').length;
    const idle = !known.items.some((i) => i.state === 'waiting');
    if (done !== sent && idle) {
      sent = done;
      await load();
    }
  });
  known.me = (await read('kept', 'me'))?.person ?? '';
  await load();
  send(true);
  await startWorker().catch(() => {}); // signed out or not there: what was kept before goes on
};

window.addEventListener('unhandledrejection', (event) => notice('broken', say('crew.notice.broken', { why: event.reason?.message ?? event.reason })));
start();
