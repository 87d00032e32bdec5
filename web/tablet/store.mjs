/** What this tablet keeps, in IndexedDB. Holds random ids only: no names, no codes. */

const NAME = "linnet";
const VERSION = 1;
// outbox: what waits to be sent; kept: token, day pack, calibration; progress: by plan.
const STORES = { outbox: "id", kept: "name", progress: "plan_id" };

const done = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

const committed = (transaction) =>
  new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onabort = () => reject(transaction.error);
    transaction.onerror = () => reject(transaction.error);
  });

function opened() {
  const request = indexedDB.open(NAME, VERSION);
  request.onupgradeneeded = () => {
    for (const [name, keyPath] of Object.entries(STORES)) {
      request.result.createObjectStore(name, { keyPath });
    }
  };
  return done(request);
}

export class Store {
  constructor(database) {
    this.database = database;
  }

  static async open() {
    return new Store(await opened());
  }

  async get(store, key) {
    return done(this.database.transaction(store).objectStore(store).get(key));
  }

  async all(store) {
    return done(this.database.transaction(store).objectStore(store).getAll());
  }

  /** Resolves once the value is on disk, not merely handed to the system. */
  async put(store, value) {
    const transaction = this.database.transaction(store, "readwrite", { durability: "strict" });
    transaction.objectStore(store).put(value);
    // Without waiting for the request's own event: a page that is being left gets none.
    transaction.commit?.();
    await committed(transaction);
  }

  async remove(store, key) {
    const transaction = this.database.transaction(store, "readwrite", { durability: "strict" });
    transaction.objectStore(store).delete(key);
    await committed(transaction);
  }
}

/** The same doors without a disk, for a browser that keeps nothing. */
export class MemoryStore {
  constructor() {
    this.rows = Object.fromEntries(Object.keys(STORES).map((name) => [name, new Map()]));
  }

  async get(store, key) {
    return this.rows[store].get(key);
  }

  async all(store) {
    return [...this.rows[store].values()];
  }

  async put(store, value) {
    this.rows[store].set(value[STORES[store]], structuredClone(value));
  }

  async remove(store, key) {
    this.rows[store].delete(key);
  }
}
