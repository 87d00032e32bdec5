/** The part of localStorage that is used, with room for `most` letters. */
export function shelf(most = Infinity) {
  const kept = new Map();
  return {
    get length() { return kept.size; },
    key: (i) => [...kept.keys()][i],
    getItem: (key) => kept.get(key) ?? null,
    removeItem: (key) => kept.delete(key),
    setItem(key, value) {
      if (value.length > most) throw new Error("QuotaExceededError");
      kept.set(key, value);
    },
  };
}

/** What the page finds as its localStorage. */
export const putShelf = (value) =>
  Object.defineProperty(globalThis, "localStorage", { value, configurable: true, writable: true });
