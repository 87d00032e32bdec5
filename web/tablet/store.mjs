/** What this tablet keeps, in IndexedDB. Holds random ids only: no names, no codes. */

const NAME = "linnet";
// Version 1 had the first three stores; its rows stay as they are.
const VERSION = 2;
// outbox: what waits to be sent; kept: token, day pack, calibration ...; progress: by plan;
// journal: the line that is being drawn, in parts; reserve: room for one more trial.
const KEYS = {
  outbox: "id", kept: "name", progress: "plan_id", journal: ["trial_id", "part"], reserve: "name",
};

const done = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

const committed = (transaction) =>
  new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onabort = () => reject(transaction.error ?? new Error("The write was broken off."));
    transaction.onerror = () => reject(transaction.error);
  });

/** @param {() => void} blocked  called when another window holds the older version open */
function opened(blocked) {
  const request = indexedDB.open(NAME, VERSION);
  request.onblocked = blocked;
  request.onupgradeneeded = () => {
    const { result } = request;
    for (const [name, keyPath] of Object.entries(KEYS)) {
      if (!result.objectStoreNames.contains(name)) result.createObjectStore(name, { keyPath });
    }
  };
  return done(request);
}

/**
 * One step of a change: `put` writes a row, `remove` deletes one by its key, `under` deletes
 * all rows whose key begins with this value.
 *
 * @typedef {{store: string, put?: object, remove?: any, under?: string}} Step
 */
function take(objects, { put, remove, under }) {
  if (put !== undefined) objects.put(put);
  else if (remove !== undefined) objects.delete(remove);
  else objects.delete(IDBKeyRange.bound([under], [under, []]));
}

export class Store {
  #database;
  #parted;

  constructor(database, parted) {
    this.#parted = parted;
    this.#hold(database);
  }

  /**
   * @param {object} [options]
   * @param {() => void} [options.blocked]  an older page is open elsewhere; opening goes on
   *   as soon as that page is closed
   * @param {() => void} [options.parted]  a newer page took over: this one must be reloaded
   */
  static async open({ blocked = () => {}, parted = () => {} } = {}) {
    return new Store(await opened(blocked), parted);
  }

  async get(store, key) {
    return this.#read(store, (objects) => objects.get(key));
  }

  async has(store, key) {
    return (await this.#read(store, (objects) => objects.getKey(key))) !== undefined;
  }

  async all(store) {
    return this.#read(store, (objects) => objects.getAll());
  }

  /** Show every row to `visit`, one at a time: rows may be large. */
  async each(store, visit) {
    const objects = (await this.#transaction([store])).objectStore(store);
    await new Promise((resolve, reject) => {
      const request = objects.openCursor();
      request.onerror = () => reject(request.error);
      request.onsuccess = () => {
        if (!request.result) return resolve();
        visit(request.result.value);
        return request.result.continue();
      };
    });
  }

  /**
   * All steps or none. The write has begun when this returns: a page that is being left has
   * no later moment. Resolves once it is on disk, not merely handed to the system.
   *
   * @param {Step[]} steps
   * @param {{relaxed?: boolean}} [options]  relaxed: a lost power supply may undo it
   */
  async change(steps, { relaxed = false } = {}) {
    const names = [...new Set(steps.map(({ store }) => store))];
    const durability = relaxed ? "relaxed" : "strict";
    let transaction;
    try {
      transaction = this.#database.transaction(names, "readwrite", { durability });
    } catch {
      transaction = await this.#transaction(names, "readwrite", { durability });
    }
    const ended = committed(transaction);
    for (const step of steps) take(transaction.objectStore(step.store), step);
    // Without waiting for the requests' own events, which a page that is left does not get.
    transaction.commit?.();
    await ended;
  }

  #hold(database) {
    this.#database = database;
    database.onversionchange = () => {
      database.close();
      this.#parted();
    };
  }

  async #read(store, ask) {
    return done(ask((await this.#transaction([store])).objectStore(store)));
  }

  // Some browsers lose the connection of a page that slept; a new one serves as well.
  async #transaction(names, ...more) {
    try {
      return this.#database.transaction(names, ...more);
    } catch (error) {
      if (error.name !== "InvalidStateError") throw error;
      this.#hold(await opened(() => {}));
      return this.#database.transaction(names, ...more);
    }
  }
}

const keyOf = (keyPath, value) =>
  JSON.stringify(Array.isArray(keyPath) ? keyPath.map((name) => value[name]) : value[keyPath]);

/** The same doors without a disk, for a browser that keeps nothing. */
export class MemoryStore {
  #rows = Object.fromEntries(Object.keys(KEYS).map((name) => [name, new Map()]));

  async get(store, key) {
    return this.#rows[store].get(JSON.stringify(key));
  }

  async has(store, key) {
    return this.#rows[store].has(JSON.stringify(key));
  }

  async all(store) {
    return [...this.#rows[store].values()];
  }

  async each(store, visit) {
    for (const row of this.#rows[store].values()) visit(row);
  }

  async change(steps) {
    for (const { store, put, remove, under } of steps) {
      const rows = this.#rows[store];
      if (put !== undefined) rows.set(keyOf(KEYS[store], put), structuredClone(put));
      else if (remove !== undefined) rows.delete(JSON.stringify(remove));
      else {
        for (const key of rows.keys()) if (JSON.parse(key)[0] === under) rows.delete(key);
      }
    }
  }
}
