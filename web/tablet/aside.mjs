/**
 * A trial that ends as the page is left.
 *
 * Some browsers let no write to the database finish from there on; text can be set aside at
 * once. The next page takes it up. Sent twice, it is the same bytes: no harm.
 */

const PREFIX = "linnet-left-";

const shelf = () => {
  try {
    return globalThis.localStorage ?? null;
  } catch {
    // Storage is switched off.
    return null;
  }
};

/** @param {{id: string}} record  plain values only @returns {boolean} whether it is there */
export function setAside(record) {
  try {
    shelf().setItem(PREFIX + record.id, JSON.stringify(record));
    return true;
  } catch {
    return false;
  }
}

/** It is in the database. */
export const forgetAside = (id) => shelf()?.removeItem(PREFIX + id);

/** What earlier pages set aside; what cannot be read stays where it is. */
export function allAside() {
  const found = [];
  const from = shelf();
  for (let i = 0; i < (from?.length ?? 0); i += 1) {
    const key = from.key(i);
    if (!key.startsWith(PREFIX)) continue;
    try {
      found.push(JSON.parse(from.getItem(key)));
    } catch {
      // Half a text: the journal may hold the line.
    }
  }
  return found;
}
