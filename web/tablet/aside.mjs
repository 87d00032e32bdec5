/**
 * What the database does not take, or may not take in time: a trial that ends as the page is
 * left, and what found no room.
 *
 * Some browsers let no write to the database finish once a page is being left; text can be
 * set aside at once. The next page takes it up. Sent twice, it is the same bytes: no harm.
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
    shelf().setItem(PREFIX + record.id, JSON.stringify({ ...record, aside_ms: Date.now() }));
    return true;
  } catch {
    return false;
  }
}

/** It is in the database, or need not be kept any more. */
export const forgetAside = (id) => shelf()?.removeItem(PREFIX + id);

// A trial comes before what belongs to it: that is sent only after it.
const rank = ({ kind }) => (kind === "trial" ? 0 : 1);

/** What earlier pages set aside, in order; what cannot be read stays where it is. */
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
  return found
    .sort((a, b) => rank(a) - rank(b) || (a.aside_ms ?? 0) - (b.aside_ms ?? 0))
    .map(({ aside_ms: _, ...record }) => record);
}
