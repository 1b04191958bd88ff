// The phone's own database. A change is reported as done when it is on disk: what the
// crew was told is saved survives a phone that is switched off.
const stores = { outbox: 'seq', drafts: 'key', kept: 'key', photos: 'sha256' };

let opening;

const open = () => {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open('daysheet-crew', 1);
    request.onupgradeneeded = () => {
      for (const [name, keyPath] of Object.entries(stores)) {
        request.result.createObjectStore(name, { keyPath, autoIncrement: name === 'outbox' });
      }
    };
    request.onsuccess = () => {
      const again = () => { opening = undefined; };
      request.result.onversionchange = () => { request.result.close(); again(); };
      request.result.onclose = again;
      resolve(request.result);
    };
    request.onerror = () => { opening = undefined; reject(request.error); };
  });
  return opening;
};

const answer = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

export const read = async (store, key) => answer((await open()).transaction(store).objectStore(store).get(key));

export const all = async (store) => answer((await open()).transaction(store).objectStore(store).getAll());

// change runs work in one transaction: all of it is stored, or none. work gets the
// stores by name, and a reader for them; it must wait for nothing else.
export const change = async (names, work) => {
  const transaction = (await open()).transaction(names, 'readwrite', { durability: 'strict' });
  const done = new Promise((resolve, reject) => {
    transaction.oncomplete = resolve;
    transaction.onabort = () => reject(transaction.error ?? new Error('the change was not stored'));
  });
  const byName = Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)]));
  try {
    await work(byName, answer);
  } catch (failure) {
    transaction.abort();
    await done.catch(() => {});
    throw failure;
  }
  await done;
};

export const put = (store, value) => change([store], (s) => { s[store].put(value); });
export const remove = (store, key) => change([store], (s) => { s[store].delete(key); });
