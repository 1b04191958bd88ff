// The outbox: what was recorded waits here until the ledger gives a receipt for it.
// Ids are made at the tap and stay the same on every try, so that sending again is
// always safe. One tab at a time sends.
import { say } from './say.js';
import { all, change, read } from './store.js';

const lock = 'daysheet-crew-outbox';
const noRoom = 507; // RFC 4918 section 11.5: the firm's photos take up all the room they may
const answerWithin = 60_000; // milliseconds for one request
const firstPause = 2_000;
const longestPause = 60_000;
const doneKept = 100;
const doneKeptFor = 3 * 24 * 3600 * 1000;

const channel = new BroadcastChannel('daysheet-crew');
const listeners = new Set();

// condition is what the page shows beside the count: sending, offline, signed-out,
// other-firm, no-photos or idle. skew is how far this phone's clock is ahead, in milliseconds.
export const condition = { now: 'idle', skew: 0 };

const tell = () => listeners.forEach((listener) => listener());
const changed = () => { channel.postMessage('changed'); tell(); };
export const onChange = (listener) => listeners.add(listener);
channel.onmessage = () => { tell(); send(); };

// newId returns a UUID of version 7 (RFC 9562 section 5.7).
export const newId = () => {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  let time = Math.max(0, Date.now());
  for (let i = 5; i >= 0; i--) {
    bytes[i] = time % 256;
    time = Math.floor(time / 256);
  }
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, '0')).join('');
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join('-');
};

// stamp writes a moment in this phone's own offset (RFC 3339).
export const stamp = (moment = new Date()) => {
  const two = (n) => String(Math.trunc(Math.abs(n))).padStart(2, '0');
  const offset = -moment.getTimezoneOffset();
  const day = `${moment.getFullYear()}-${two(moment.getMonth() + 1)}-${two(moment.getDate())}`;
  const time = `${two(moment.getHours())}:${two(moment.getMinutes())}:${two(moment.getSeconds())}`;
  return `${day}T${time}${offset < 0 ? '-' : '+'}${two(offset / 60)}:${two(offset % 60)}`;
};

// makeEvent returns what happened as a CloudEvent.
export const makeEvent = (job, type, data, id = newId(), time = stamp()) => ({
  specversion: '1.0', id, source: '/crew', type, subject: job, time, datacontenttype: 'application/json', data,
});

export const photosOf = (data) => [...(data.photos ?? []), ...(data.photo ? [data.photo] : [])];

export const newItem = (firm, kind, event) => ({
  firm, kind, event, photos: photosOf(event.data), state: 'waiting', tries: 0, since: Date.now(),
});

// add stores items with whatever else has to change at the same moment.
export const add = async (items, others = [], more = () => {}) => {
  await change(['outbox', ...others], (stores) => {
    items.forEach((item) => stores.outbox.add(item));
    more(stores);
  });
  changed();
  send(true);
};

// update changes an item that may have changed meanwhile; edit returns the new
// item, null to delete it, or undefined to leave it.
const update = async (seq, edit) => {
  let result;
  await change(['outbox'], async (stores, answer) => {
    const item = await answer(stores.outbox.get(seq));
    result = item && edit(item);
    if (result === null) stores.outbox.delete(seq);
    else if (result) stores.outbox.put(result);
  });
  return result;
};

export const again = async (seq) => {
  await update(seq, (item) => ({ ...item, state: 'waiting', reason: undefined, tries: 0 }));
  changed();
  send(true);
};

// mend puts another event in the place of one that was not taken.
export const mend = async (seq, event, draft) => {
  await change(['outbox', 'drafts'], async (stores, answer) => {
    const item = await answer(stores.outbox.get(seq));
    if (!item || item.state !== 'rejected') throw new Error(say('crew.gone'));
    stores.outbox.put({ ...item, event, photos: photosOf(event.data), state: 'waiting', reason: undefined, tries: 0 });
    stores.drafts.delete(draft);
  });
  changed();
  send(true);
};

export const discard = async (seq) => {
  await update(seq, (item) => (item.state === 'rejected' ? null : undefined));
  changed();
};

// takeBack takes an entry back that waits. One that was never on its way is deleted;
// what may have arrived is left to be voided by who calls.
export const takeBack = async (seq) => {
  const result = await update(seq, (item) => (item.state === 'waiting' && item.tries === 0 ? null : undefined));
  changed();
  return result === null;
};

// later says why sending stops for now; what waits stays as it is.
class Later extends Error {
  constructor(state, wait = 0) {
    super(state);
    this.state = state;
    this.wait = wait;
  }
}

const ask = async (address, options = {}) => {
  let response;
  try {
    response = await fetch(address, {
      ...options, cache: 'no-store', redirect: 'error', signal: AbortSignal.timeout(answerWithin),
      headers: { Accept: 'application/json', ...options.headers },
    });
  } catch {
    throw new Later('offline');
  }
  const kind = response.headers.get('Content-Type') ?? '';
  let body = {};
  try {
    if (/[/+]json/.test(kind)) body = await response.json();
  } catch {
    throw new Later('offline'); // the answer was cut
  }
  const wait = 1000 * Number(response.headers.get('Retry-After') ?? 0);
  if (response.status === 401 || response.status === 403) throw new Later('signed-out');
  if ((response.status >= 500 && response.status !== noRoom) || [408, 425, 429].includes(response.status)) throw new Later('offline', wait || 0);
  // What does not speak like the ledger is something on the way, such as a page to
  // sign in to a network.
  if (!response.ok && !kind.startsWith('application/problem+json')) throw new Later('offline');
  return { status: response.status, ok: response.ok, body };
};

const whoAmI = async () => {
  const started = Date.now();
  const { ok, body } = await ask('/v1/crew/me');
  if (!ok || !body.firm) throw new Later('offline');
  condition.skew = (started + Date.now()) / 2 - Date.parse(body.now);
  return body;
};

const reject = (item, body, photo = false) => update(item.seq, (found) => {
  const { field = '', rule = body.detail ?? body.title ?? '' } = body.errors?.[0] ?? body;
  return { ...found, state: 'rejected', reason: { status: body.status, field: field.replace(/^data\./, ''), rule, photo } };
});

// sendPhotos returns true when the ledger has every photo of the item, false if it
// has to wait, and undefined if the ledger will not have one.
const sendPhotos = async (item) => {
  for (const sha256 of item.photos) {
    const photo = await read('photos', sha256);
    if (!photo) continue; // it was sent with another entry
    if (photo.sent) continue;
    const { status, ok, body } = await ask(`/v1/photos/${sha256}`, {
      method: 'PUT', headers: { 'Content-Type': photo.type }, body: photo.bytes,
    });
    if ([404, 405, noRoom].includes(status)) return false; // the ledger takes no photos now
    if (!ok) {
      await reject(item, body, true);
      return undefined;
    }
    await change(['photos'], async (stores, answer) => {
      const found = await answer(stores.photos.get(sha256));
      if (found) stores.photos.put({ ...found, sent: true });
    });
  }
  return true;
};

// sendItem sends one item and reports whether it is out of the way.
const sendItem = async (item) => {
  const ready = await sendPhotos(item);
  if (ready === false) return false;
  if (ready === undefined) return true;
  // Written down before the first byte goes out: from here on it may have arrived.
  const current = await update(item.seq, (found) => (
    found.state === 'waiting' ? { ...found, tries: found.tries + 1 } : undefined));
  if (!current) return true; // it was taken back, or another tab was faster
  const { ok, body } = await ask('/v1/events', {
    method: 'POST', headers: { 'Content-Type': 'application/cloudevents+json' }, body: JSON.stringify(current.event),
  });
  if (!ok) {
    await reject(current, body);
    return true;
  }
  const receipt = (body.receipts ?? []).find((r) => r.id === current.event.id);
  if (!receipt) throw new Later('offline');
  await update(item.seq, (found) => ({
    ...found, state: 'done', doneAt: Date.now(), sequence: receipt.sequence, duplicate: receipt.duplicate,
  }));
  return true;
};

// standsOn lists the ids of other entries that an entry speaks of.
const standsOn = ({ data }) => [data.laid, data.damage, data.snag, data.of, data.event].filter(Boolean);

// drain sends what waits, oldest first. What stands on an entry that is not taken
// yet waits for it.
const drain = async () => {
  const held = new Set();
  let photosWait = false;
  let me;
  for (;;) {
    const items = await all('outbox');
    // What it stands on is not in the ledger, or not yet.
    const open = new Set(items.filter((i) => i.state === 'rejected' || held.has(i.seq)).map((i) => i.event.id));
    const waiting = items.filter((i) => i.state === 'waiting');
    if (waiting.length > 0) me ??= await whoAmI();
    const next = waiting.find((i) => i.firm === me.firm && !held.has(i.seq));
    if (!next) {
      if (held.size > 0) throw new Later(photosWait ? 'no-photos' : 'idle', longestPause);
      condition.now = waiting.length > 0 ? 'other-firm' : 'idle';
      return;
    }
    if (standsOn(next.event).some((id) => open.has(id))) held.add(next.seq);
    else if (await sendItem(next)) changed();
    else {
      held.add(next.seq);
      photosWait = true;
    }
  }
};

// sweep forgets what was sent some time ago, and photos that nothing waits for.
const sweep = async () => {
  await change(['outbox', 'drafts', 'photos'], async (stores, answer) => {
    const items = await answer(stores.outbox.getAll());
    const done = items.filter((i) => i.state === 'done');
    const old = done.filter((i, n) => n < done.length - doneKept || i.doneAt < Date.now() - doneKeptFor);
    old.forEach((i) => stores.outbox.delete(i.seq));
    const drafts = await answer(stores.drafts.getAll());
    const wanted = new Set([
      ...items.filter((i) => i.state !== 'done').flatMap((i) => i.photos),
      ...drafts.flatMap((d) => Object.values(d.values).flat()),
    ]);
    for (const sha256 of await answer(stores.photos.getAllKeys())) {
      const photo = wanted.has(sha256) ? undefined : await answer(stores.photos.get(sha256));
      if (photo && photo.taken < Date.now() - doneKeptFor) stores.photos.delete(sha256);
    }
  });
};

let running = false;
let asked = false; // somebody wants to send and nobody has looked since
let pauses = 0;
let timer;

// send sends what waits, in this tab or after another. fresh forgets how long the
// pause had grown: the reader did something, or the connection came back. Who asks
// while it is running is heard before it ends, or an entry would lie there unsent.
export const send = async (fresh = false) => {
  if (fresh) pauses = 0;
  asked = true;
  if (running) return;
  running = true;
  clearTimeout(timer);
  try {
    while (asked) {
      asked = false;
      condition.now = 'sending';
      await navigator.locks.request(lock, drain);
      await sweep();
    }
    pauses = 0;
  } catch (failure) {
    condition.now = failure.state ?? 'broken';
    const pause = Math.min(longestPause, firstPause * 2 ** pauses++);
    timer = setTimeout(send, Math.max(failure.wait ?? 0, pause * (0.75 + Math.random() / 2)));
    if (!(failure instanceof Later)) throw failure;
  } finally {
    running = false;
    tell();
  }
};
