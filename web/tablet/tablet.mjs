/** This tablet: its pairing, its day pack, its calibration, and what waits to be sent. */

import { request } from "../shared/api.mjs";
import { randomId, sha256, sha256Plain } from "../shared/sha256.mjs";
import { freshProgress } from "./day.mjs";
import { Outbox } from "./outbox.mjs";
import { MemoryStore, Store } from "./store.mjs";

async function openedStore() {
  try {
    return { store: await Store.open(), lasting: true };
  } catch {
    return { store: new MemoryStore(), lasting: false };
  }
}

const sendRecord = ({ method, path, token, body }) => request(method, path, { token, body });

export class Tablet {
  /** @param {() => void} changed  called when what waits has changed */
  constructor(changed) {
    this.changed = changed;
    this.pairing = null;
    this.day = null;
    this.calibration = null;
    this.unsaved = false;
    this.order = Promise.resolve();
  }

  async open() {
    const { store, lasting } = await openedStore();
    this.store = store;
    this.lasting = lasting;
    this.outbox = new Outbox({ store, send: sendRecord, changed: () => this.changed() });
    for (const name of ["pairing", "day", "calibration"]) {
      this[name] = (await store.get("kept", name))?.value ?? null;
    }
    addEventListener("online", () => this.outbox.hurry());
    this.outbox.hurry();
  }

  async #keep(name, value) {
    this[name] = value;
    await this.store.put("kept", { name, value }).catch(() => { this.unsaved = true; });
  }

  /** Exchange a pairing code for a token. Returns the server's answer. */
  async pair(code) {
    // The old token goes along, so that this stays the same tablet.
    const answer = await request("POST", "/api/pair", {
      body: JSON.stringify({ code }), token: this.pairing?.token,
    });
    if (answer.status === null || answer.status >= 400) return answer;
    const { token, tablet_id } = answer.json;
    await this.#keep("pairing", { token, tablet_id });
    await this.#keep("day", null);
    // Asks the browser not to clear this page's storage when space runs short.
    await navigator.storage?.persist?.().catch(() => false);
    await this.outbox.repaired(token);
    return answer;
  }

  /** Fetch the day pack if it has changed; the last one stays when there is no answer. */
  async fetchDay() {
    const { token } = this.pairing;
    const asked_ms = Date.now();
    const answer = await request("GET", "/api/tablet/day", { token, etag: this.day?.etag });
    if (answer.status === 200) {
      const pack = answer.json;
      await this.#keep("day", {
        pack, etag: answer.etag, clock_offset_ms: offsetOf(pack, (asked_ms + Date.now()) / 2),
      });
    }
    return answer;
  }

  /** Plans that have not run out, by the server's clock. */
  get plans() {
    if (!this.day) return [];
    const now_ms = Date.now() + (this.day.clock_offset_ms ?? 0);
    const open = ({ expires_at }) => !expires_at || Date.parse(expires_at) > now_ms;
    return open(this.day.pack) ? this.day.pack.plans.filter(open) : [];
  }

  keepCalibration(calibration) {
    return this.#keep("calibration", calibration);
  }

  async progressOf(plan_id) {
    return (await this.store.get("progress", plan_id)) ?? freshProgress(plan_id);
  }

  async keepProgress(progress) {
    await this.store.put("progress", progress).catch(() => { this.unsaved = true; });
  }

  /**
   * Serialise a finished trial, once, and hand it to the outbox.
   *
   * @param {object} document
   * @param {{leaving: boolean}} options  whether the page is being left: then the write
   *   begins before this returns, and the hash is computed without the browser's help
   */
  keepTrial(document, { leaving }) {
    const body = JSON.stringify(document);
    const { trial_id } = document;
    const record = {
      id: trial_id, trial_id, method: "PUT", path: `/api/trials/${trial_id}`, body,
    };
    if (leaving) {
      const hash = sha256Plain(new TextEncoder().encode(body));
      return this.outbox.add({ ...record, token: this.pairing.token, sha256: hash });
    }
    return this.#queue(async () => ({ ...record, sha256: await sha256(body) }));
  }

  keepMark(trial_id, mark) {
    const id = randomId();
    return this.#queue(() => ({
      id, trial_id, method: "POST", path: `/api/trials/${trial_id}/marks`,
      body: JSON.stringify({ id, ...mark }), sha256: null,
    }));
  }

  // One after the other: a mark must not overtake the trial that it belongs to.
  #queue(make) {
    const { token } = this.pairing;
    this.order = this.order.then(async () => {
      this.unsaved = !(await this.outbox.add({ token, ...(await make()) }));
    });
    return this.order;
  }
}

/** What to add to this tablet's clock to get the server's. [ms] */
function offsetOf(pack, local_ms) {
  const server_time = pack.server_time ?? pack.plans.find((plan) => plan.server_time)?.server_time;
  const server_ms = Date.parse(server_time ?? "");
  return Number.isFinite(server_ms) ? Math.round(server_ms - local_ms) : null;
}
