// What the phone keeps: settings, and readings with a reduced picture. A promise is kept once the data are on the disk.

const schema = 1; // of the stores below; a later one upgrades in onupgradeneeded

let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open('ripplegauge', schema);
    request.onupgradeneeded = () => {
      const database = request.result;
      database.createObjectStore('settings');
      database.createObjectStore('readings', {keyPath: 'id', autoIncrement: true});
    };
    request.onsuccess = () => {
      const database = request.result;
      // A newer page in another tab wants to change the stores: this one lets go.
      database.onversionchange = () => {
        database.close();
        opened = null;
        dispatchEvent(new CustomEvent('store-outdated'));
      };
      resolve(database);
    };
    request.onerror = () => {
      opened = null;
      reject(storeError(request.error));
    };
  });
  return opened;
}

function storeError(error) {
  const message =
    error?.name === 'QuotaExceededError'
      ? 'The phone has no room left for this page: nothing was stored. Delete readings in the list, or free space on the phone.'
      : error?.name === 'VersionError'
        ? 'Readings here were stored by a newer version of this page. Close all its tabs and open it again.'
        : `The browser does not let this page store anything (${error?.name ?? 'no reason given'}). In a private window it often may not.`;
  return Object.assign(new Error(message), {kind: 'store'});
}

/** Runs `work(store)` in one transaction and gives the result of the request that it returns. */
async function transact(name, mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(name, mode, {durability: 'strict'});
    let request;
    transaction.oncomplete = () => resolve(request?.result);
    transaction.onabort = () => reject(storeError(transaction.error ?? request?.error));
    try {
      request = work(transaction.objectStore(name));
    } catch (error) {
      transaction.abort();
      reject(storeError(error));
    }
  });
}

export const readSetting = (key) => transact('settings', 'readonly', (store) => store.get(key));
export const writeSetting = (key, value) => transact('settings', 'readwrite', (store) => store.put(value, key));

/** Gives its number. */
export const addReading = (reading) => transact('readings', 'readwrite', (store) => store.add(reading));
export const changeReading = (reading) => transact('readings', 'readwrite', (store) => store.put(reading));
export const readingWith = (id) => transact('readings', 'readonly', (store) => store.get(id));
export const allReadings = () => transact('readings', 'readonly', (store) => store.getAll());

export const deleteReadings = (ids) =>
  transact('readings', 'readwrite', (store) => {
    let last;
    for (const id of ids) last = store.delete(id);
    return last;
  });

/** Asks the browser not to clear the data by itself; it may say no. */
export async function keepData() {
  try {
    return (await navigator.storage?.persist?.()) ?? false;
  } catch {
    return false;
  }
}
