// Keeps the pages on the phone. A version is kept whole before it is used, and used
// when the reader says so: a form that is half filled in is not pulled away.
const shell = '/crew';
const kept = `daysheet-crew-${version}`;
const lists = 'daysheet-crew-lists';
const dayAt = '/v1/crew/day';
const patience = 8_000; // milliseconds for the list, where the line is there and yet is not
const pages = /^\/crew(\/outbox|\/help|\/jobs\/[a-z0-9-]+)?$/;

// Where the customer signs on this phone, and what that page is made of.
const signing = /^\/crew\/jobs\/[a-z0-9-]+\/sign-off$/;
const parts = '/assets/pages/';

const fill = async () => {
  const cache = await caches.open(kept);
  await cache.addAll(files);
  const page = await fetch(shell, { cache: 'no-store', redirect: 'error', headers: { Accept: 'text/html' } });
  if (!page.ok) throw new Error(`the pages could not be kept: status ${page.status}`);
  await cache.put(shell, page);
};

const takeOver = async () => {
  const old = (await caches.keys()).filter((name) => name.startsWith('daysheet-crew-') && name !== kept && name !== lists);
  await Promise.all(old.map((name) => caches.delete(name)));
  await self.clients.claim();
};

const fromKept = async (address, request) => {
  const cache = await caches.open(kept);
  return (await cache.match(address)) ?? fetch(request);
};

const day = async (request) => {
  const cache = await caches.open(lists);
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(patience) });
    if (answer.status === 401 || answer.status === 403) await cache.delete(dayAt);
    if (answer.ok) {
      const headers = { 'Content-Type': 'application/json', 'Kept-Since': new Date().toISOString() };
      await cache.put(dayAt, new Response(await answer.clone().arrayBuffer(), { headers }));
    }
    if (answer.status < 500) return answer;
    throw new Error(`status ${answer.status}`);
  } catch {
    return (await cache.match(dayAt)) ?? Response.error();
  }
};

// A page to sign on is as new as can be, and the one opened last where there is no line.
// One that was signed is not kept: it shows who signed.
const signPage = async (request) => {
  const cache = await caches.open(lists);
  const { pathname } = new URL(request.url);
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(patience) });
    if (answer.ok && !answer.redirected && (await answer.clone().text()).includes('id="sign"')) {
      await cache.put(pathname, answer.clone());
    } else if (answer.status < 500) {
      await cache.delete(pathname);
    }
    return answer;
  } catch {
    return (await cache.match(pathname)) ?? Response.error();
  }
};

// The address of a part holds the hash of its content.
const part = async (request) => {
  const cache = await caches.open(lists);
  const known = await cache.match(request);
  if (known) return known;
  const answer = await fetch(request);
  if (answer.ok) await cache.put(request, answer.clone());
  return answer;
};

self.addEventListener('install', (event) => event.waitUntil(fill()));
self.addEventListener('activate', (event) => event.waitUntil(takeOver()));
self.addEventListener('message', (event) => { if (event.data === 'use') self.skipWaiting(); });
self.addEventListener('fetch', (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== 'GET' || address.origin !== self.location.origin) return;
  if (request.mode === 'navigate') {
    if (pages.test(address.pathname)) event.respondWith(fromKept(shell, request));
    if (signing.test(address.pathname)) event.respondWith(signPage(request));
  } else if (address.pathname === dayAt) {
    event.respondWith(day(request));
  } else if (address.pathname.startsWith(parts)) {
    event.respondWith(part(request));
  } else if (files.includes(address.pathname)) {
    event.respondWith(fromKept(address.pathname, request));
  }
});
