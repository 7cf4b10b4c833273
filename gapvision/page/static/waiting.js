// Photographs that were chosen and have not all arrived, kept on the phone itself: after a reload, or when
// the phone was off, sending goes on without choosing them again.

const NAME = "gapvision", STORE = "waiting";
const OLD_MS = 7 * 24 * 3600 * 1000; // what waited longer is of a joint that nobody goes on with

function open() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore(STORE, { keyPath: "id", autoIncrement: true });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

async function run(mode, work) {
  const db = await open();
  try {
    return await new Promise((resolve, reject) => {
      const transaction = db.transaction(STORE, mode);
      const request = work(transaction.objectStore(STORE));
      transaction.oncomplete = () => resolve(request.result);
      transaction.onerror = () => reject(transaction.error);
      transaction.onabort = () => reject(transaction.error);
    });
  } finally {
    db.close();
  }
}

// Keep a file for `joint`; returns the item with its id. Where the phone has no room for it, or keeps
// nothing at all (private browsing), it is only held until the page is left: id null.
export async function hold(joint, file) {
  const item = { joint, name: file.name, file, url: null, at: Date.now() };
  try {
    item.id = await run("readwrite", (store) => store.add(item));
  } catch (error) {
    item.id = null;
  }
  return item;
}

export async function change(item) {
  if (item.id === null) return;
  try { await run("readwrite", (store) => store.put(item)); } catch (error) { /* as in hold */ }
}

export async function release(item) {
  if (item.id === null) return;
  try { await run("readwrite", (store) => store.delete(item.id)); } catch (error) { /* as in hold */ }
}

// All that wait for `joint`, the first chosen first.
export async function held(joint) {
  try {
    const all = await run("readonly", (store) => store.getAll());
    await Promise.all(all.filter((item) => Date.now() - item.at > OLD_MS).map(release));
    return all.filter((item) => item.joint === joint);
  } catch (error) {
    return [];
  }
}
