/** This tablet: its pairing, its day pack, its calibration, and what waits to be sent. */

import { request } from "../shared/api.mjs";
import { randomId, sha256, sha256Plain } from "../shared/sha256.mjs";
import { learned, unknownAbilities } from "./abilities.mjs";
import { forgetAside, setAside } from "./aside.mjs";
import { offsetOf, wasSet } from "./clock.mjs";
import { freshProgress } from "./day.mjs";
import { Journal, withoutJournal } from "./journal.mjs";
import { Keeping } from "./keeping.mjs";
import { Outbox } from "./outbox.mjs";
import { calibrationRecord, markRecord, observationRecord, trialRecord } from "./records.mjs";
import { recover } from "./recovering.mjs";
import { Room } from "./room.mjs";
import { MemoryStore, Store } from "./store.mjs";

const KEPT = ["pairing", "day", "calibration", "told", "setups", "abilities"];

const storage = () => globalThis.navigator?.storage;

const sendRecord = ({ method, path, token, body }) => request(method, path, { token, body });

export class Tablet {
  #journal = null;
  #fetching = null;
  // How far each plan has come, also where the disk did not take it, or has not yet.
  #reached = new Map();
  #order = Promise.resolve();

  /**
   * @param {() => void} changed  called when what waits has changed
   * @param {() => void} [elsewhere]  called when an older page in another window must be
   *   closed before this one can go on, or a newer one took over
   */
  constructor(changed, elsewhere = () => {}) {
    this.changed = changed;
    this.elsewhere = elsewhere;
    for (const name of KEPT) this[name] = null;
    this.recovered = 0;
    this.persisted = null;
  }

  async open() {
    await this.#openStore();
    const { store } = this;
    this.outbox = new Outbox({
      store, send: sendRecord, write: (steps) => this.#write(steps), settled: forgetAside,
      token: () => this.pairing?.token ?? null, changed: () => this.changed(),
    });
    for (const name of KEPT) this[name] = (await store.get("kept", name))?.value ?? null;
    this.abilities ??= unknownAbilities();
    this.recovered = await recover(store, (...found) => this.#takeUp(...found));
    this.persisted = (await storage()?.persisted?.().catch(() => null)) ?? null;
    addEventListener("online", () => this.outbox.hurry());
    addEventListener("pageshow", (event) => event.persisted && this.outbox.reread());
    this.outbox.hurry();
  }

  async #openStore() {
    const told = { blocked: this.elsewhere, parted: this.elsewhere };
    try {
      this.store = await Store.open(told);
      this.lasting = true;
    } catch {
      this.store = new MemoryStore();
      this.lasting = false;
    }
    this.reserve = new Room(this.store);
    this.keeping = new Keeping(this.store);
  }

  async #write(steps) {
    if (!this.lasting) throw new Error("This browser keeps nothing.");
    await this.reserve.write(steps);
  }

  /** Whether something drawn or said here would be lost with the page. */
  get unsaved() {
    return this.outbox?.unsaved > 0;
  }

  /** Whether anything at all that matters would be lost with the page. */
  get losable() {
    return this.unsaved || this.keeping?.losable === true;
  }

  /** Try to save what found no room before. @returns {Promise<boolean>} whether all is on disk */
  async save() {
    await this.outbox?.saveHeld();
    return (await this.keeping?.again()) !== false && !this.losable;
  }

  /** Whether one more trial has room in the storage. @returns {Promise<"room"|"full">} */
  async room() {
    if (!this.lasting) return "room";
    return (await this.save()) ? this.reserve.state() : "full";
  }

  #keep(name, value) {
    this[name] = value;
    return this.keeping.put(name, () => ({ store: "kept", put: { name, value: this[name] } }));
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
    this.#askToPersist();
    await this.outbox.repaired(token);
    if (this.calibration) this.#tell(this.calibration);
    return answer;
  }

  // Asks the browser not to clear this page's storage when space runs short. Nobody waits
  // for it: some browsers ask the adult first.
  #askToPersist() {
    storage()?.persist?.()
      .then((persisted) => { this.persisted = persisted; }, () => { this.persisted = false; });
  }

  /**
   * Fetch the day pack if it has changed; the last one stays when there is no answer. Calls
   * while one is on its way get its answer.
   */
  fetchDay() {
    const { token } = this.pairing;
    if (this.#fetching?.token === token) return this.#fetching.answer;
    const answer = this.#fetchDay(token).finally(() => {
      if (this.#fetching?.answer === answer) this.#fetching = null;
    });
    this.#fetching = { token, answer };
    return answer;
  }

  async #fetchDay(token) {
    const asked_ms = Date.now();
    const answer = await request("GET", "/api/tablet/day", { token, etag: this.day?.etag });
    // The tablet may have been paired anew meanwhile.
    if (token !== this.pairing.token) return answer;
    const clock_offset_ms = offsetOf(answer, asked_ms, Date.now());
    if (answer.status === 200) {
      await this.#keep("day", { pack: answer.json, etag: answer.etag, clock_offset_ms });
    } else if (answer.status === 304 && clock_offset_ms !== null) {
      await this.#setClock(clock_offset_ms);
    }
    return answer;
  }

  // The plans are the same; this tablet's clock may have been set since they came.
  async #setClock(clock_offset_ms) {
    const day = { ...this.day, clock_offset_ms };
    if (wasSet(this.day.clock_offset_ms, clock_offset_ms)) await this.#keep("day", day);
    else this.day = day;
  }

  /** Plans that have not run out, by the server's clock. */
  get plans() {
    if (!this.day) return [];
    const now_ms = Date.now() + (this.day.clock_offset_ms ?? 0);
    const open = ({ expires_at }) => !expires_at || Date.parse(expires_at) > now_ms;
    return open(this.day.pack) ? this.day.pack.plans.filter(open) : [];
  }

  /** Keep a calibration; the server is told of each new one once. */
  async keepCalibration(calibration) {
    await this.#keep("calibration", calibration);
    if (this.pairing) this.#tell(calibration);
  }

  #tell(calibration) {
    const { calibration_id } = calibration;
    if (this.told === calibration_id) return;
    this.told = calibration_id;
    const record = calibrationRecord(calibration, [innerWidth, innerHeight]);
    const told = { store: "kept", put: { name: "told", value: calibration_id } };
    this.#queue(() => record, () => [told]);
  }

  async progressOf(plan_id) {
    const kept = await this.store.get("progress", plan_id);
    return this.#reached.get(plan_id) ?? kept ?? freshProgress(plan_id);
  }

  async keepProgress(progress) {
    const { plan_id } = progress;
    this.#reached.set(plan_id, progress);
    await this.keeping.put(
      `progress ${plan_id}`, () => ({ store: "progress", put: this.#reached.get(plan_id) }));
  }

  /** How the tablet lay when this child last drew, or null. @param {string[]} signs */
  lastSetup(signs) {
    return this.setups?.[signs.join(" ")] ?? null;
  }

  keepSetup(signs, { tablet_at, surface }) {
    return this.#keep("setups", { ...this.setups, [signs.join(" ")]: { tablet_at, surface } });
  }

  /** Learn from a finished trial what the pen gives. @param {import("./pen.mjs").Pen} pen */
  learn(pen) {
    const abilities = learned(this.abilities, pen);
    if (abilities !== this.abilities) this.#keep("abilities", abilities);
  }

  /**
   * A line may begin: from its first contact on it is written down as it is drawn.
   *
   * @param {{trial_id: string, base: object, progress: object}} head  see `Journal`
   */
  begin(head) {
    this.#journal = new Journal(this.store, { ...head, token: this.pairing.token });
    return this.#journal;
  }

  /**
   * Serialise a finished trial, once, and hand it to the outbox; with it goes what the plan
   * has come to, and its journal is removed.
   *
   * @param {object} document
   * @param {object} [options]
   * @param {boolean} [options.leaving]  whether the page is being left: then the write
   *   begins before this returns, and the hash is computed without the browser's help
   * @param {object} [options.progress]  of the plan, this trial counted; if it has come
   *   further by the moment of the write, that is written
   * @returns {Promise<boolean>} whether it is on disk
   */
  keepTrial(document, { leaving = false, progress = null } = {}) {
    const body = JSON.stringify(document);
    const { trial_id } = document;
    if (this.#journal?.trial_id === trial_id) this.#journal.close();
    if (progress) this.#reached.set(progress.plan_id, progress);
    const reached = () => progress && this.#reached.get(progress.plan_id);
    const along = () => [
      withoutJournal(trial_id), ...(progress ? [{ store: "progress", put: reached() }] : []),
    ];
    const kept = this.#hand(body, trial_id, { leaving, along, progress: reached });
    // A trial without room may still leave room for how far the plan has come.
    return kept.then(async (saved) => {
      if (!saved && progress) await this.keepProgress(reached());
      return saved;
    });
  }

  #hand(body, trial_id, { leaving, along, progress }) {
    if (leaving) {
      const hash = sha256Plain(new TextEncoder().encode(body));
      const record = { ...trialRecord(trial_id, body, hash), token: this.pairing.token };
      setAside({ ...record, progress: progress() });
      const kept = this.outbox.add(record, along());
      this.#order = Promise.all([this.#order, kept]);
      return kept;
    }
    return this.#queue(
      async () => trialRecord(trial_id, body, await sha256(body)), along, progress);
  }

  /** @param {string} trial_id @param {object} mark  as the server takes it */
  keepMark(trial_id, mark) {
    const id = randomId();
    return this.#queue(() => markRecord(id, trial_id, mark));
  }

  /** @param {string} plan_id @param {object} seen  see `observationRecord` */
  keepObservation(plan_id, seen) {
    const id = randomId();
    return this.#queue(() => observationRecord(id, plan_id, seen));
  }

  // One after the other: a mark must not overtake the trial that it belongs to.
  #queue(make, along = () => [], progress = () => null) {
    const { token } = this.pairing;
    const kept = this.#order.then(async () => {
      const record = { ...(await make()), token };
      const saved = await this.outbox.add(record, along());
      // Text may have room where the database has none.
      if (this.outbox.holds(record.id)) setAside({ ...record, progress: progress() });
      return saved;
    });
    this.#order = kept.catch(() => false);
    return kept;
  }

  /** Keep a record of an earlier page, with how far its plan had come, unless it came further. */
  async #takeUp(record, progress) {
    const further = progress && (await this.progressOf(progress.plan_id)).seq < progress.seq;
    const along = further ? [{ store: "progress", put: progress }] : [];
    if (further) this.#reached.set(progress.plan_id, progress);
    const saved = await this.outbox.add(record, [withoutJournal(record.id), ...along]);
    if (!saved && further) await this.keepProgress(progress);
  }
}
