/** The thread of `Appending`: writes parts of a journal in the order in which they come. */

import { partOf } from "./journal.mjs";
import { Store } from "./store.mjs";

const store = Store.open();

async function write({ number, row }) {
  try {
    await (await store).change([partOf(row)], { relaxed: true });
    postMessage({ number, written: true });
  } catch {
    postMessage({ number, written: false });
  }
}

onmessage = ({ data }) => write(data);
