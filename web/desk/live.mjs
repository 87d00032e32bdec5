/**
 * Keeps the list of a session's trials fresh while the page is looked at.
 *
 * Without this file "Look again" beside the list does. Only what differs is exchanged, and
 * nothing that an adult is just filling in.
 */

import { request } from "../shared/api.mjs";

const EVERY_MS = 2_000;
// A page that nobody touches and where nothing arrives must not keep its sign-in alive.
const AWAKE_MS = 10 * 60_000;
// What moved under a finger just now was not what the finger was meant for.
const SETTLE_MS = 600;

export const RESTING = "The list rests, because nothing has changed for a while. Touch the page to go on.";
export const NO_ANSWER = "The list is not up to date: the server did not answer. It is asked again.";
export const SIGNED_OUT = "The list is not up to date any more. Look again, and sign in if you are asked to.";

/**
 * How a list becomes the next one.
 *
 * @param {{id: string, state: string, busy: boolean}[]} now  as shown
 * @param {{id: string, state: string}[]} next  as it is to be
 * @returns {{steps: {id: string, use: "old"|"new"}[], gone: string[], fresh: string[],
 *   held: boolean}}  in the order of `next`; `held` when something in use had to stay as it was
 */
export function changesOf(now, next) {
  const known = new Map(now.map((one) => [one.id, one]));
  const wanted = new Set(next.map(({ id }) => id));
  const steps = next.map(({ id, state }) => {
    const old = known.get(id);
    return { id, use: old && (old.state === state || old.busy) ? "old" : "new" };
  });
  return {
    steps,
    gone: now.filter(({ id }) => !wanted.has(id)).map(({ id }) => id),
    fresh: next.filter(({ id }) => !known.has(id)).map(({ id }) => id),
    held: next.some(({ id, state }) => known.get(id)?.busy && known.get(id).state !== state),
  };
}

/** One short sentence on what has come in, for those who hear the page; names newest first. */
export function sentenceOf(names) {
  if (names.length === 0) return "";
  return names.length === 1 ? `${names[0]}, has come in.` : `${names.length} trials have come in.`;
}

/** Asks again and again, as long as somebody looks. */
export class Poll {
  #etag = null;
  #timer = null;
  #touched_ms;
  #asking = false;

  /**
   * @param {object} options
   * @param {(etag: string|null) => Promise<{status: number|null, json: any, etag: string|null}>} options.ask
   * @param {(json: any) => boolean} options.show  false when something had to stay as it was
   * @param {(sentence: string) => void} options.tell
   * @param {() => boolean} options.seen  whether the page is visible
   * @param {() => number} options.now_ms
   * @param {(then: () => void, ms: number) => any} options.after
   * @param {(timer: any) => void} options.drop
   */
  constructor({ ask, show, tell, seen, now_ms, after, drop }) {
    Object.assign(this, { ask, show, tell, seen, now_ms, after, drop });
    this.trouble = "";
    this.#touched_ms = now_ms();
  }

  /** Somebody looks at the page, or does something on it. */
  wake() {
    this.#touched_ms = this.now_ms();
    if (this.#timer === null && !this.#asking && this.seen()) this.#round();
  }

  /** Nobody looks any more. */
  sleep() {
    if (this.#timer !== null) this.drop(this.#timer);
    this.#timer = null;
  }

  async #round() {
    this.#timer = null;
    if (!this.seen()) return;
    if (this.now_ms() - this.#touched_ms >= AWAKE_MS) {
      this.#say(RESTING);
      return;
    }
    this.#asking = true;
    const goes_on = this.#take(await this.ask(this.#etag));
    this.#asking = false;
    if (goes_on && this.seen()) this.#timer = this.after(() => this.#round(), EVERY_MS);
  }

  #take({ status, json, etag }) {
    if (status === 200) {
      this.#say("");
      // What was held back is asked for once more.
      this.#etag = this.show(json) ? etag : null;
      this.#touched_ms = this.now_ms();
    } else if (status === 304) {
      this.#say("");
    } else {
      const over = status !== null && status >= 400 && status < 500;
      this.#say(over ? SIGNED_OUT : NO_ANSWER);
      return !over;
    }
    return true;
  }

  #say(sentence) {
    if (sentence === this.trouble) return;
    this.trouble = sentence;
    this.tell(sentence);
  }
}

const isBusy = (row) => row.contains(document.activeElement) || row.querySelector("details[open]") !== null;

/** Exchange what differs. @returns {boolean}  false when something in use had to stay */
function showList(list, html, tell) {
  const page = new DOMParser().parseFromString(`<ol>${html}</ol>`, "text/html");
  const next = new Map([...page.querySelectorAll("ol > li")].map((row) => [row.id, row]));
  const now = new Map([...list.children].map((row) => [row.id, row]));
  const { steps, gone, fresh, held } = changesOf(
    [...now.values()].map((row) => ({ id: row.id, state: row.dataset.state, busy: isBusy(row) })),
    [...next.values()].map((row) => ({ id: row.id, state: row.dataset.state })));
  for (const id of gone) now.get(id).remove();
  let place = list.firstElementChild;
  for (const { id, use } of steps) {
    const old = now.get(id);
    const row = use === "old" ? old : document.importNode(next.get(id), true);
    if (place !== null && place === old) {
      place = place.nextElementSibling;
      if (row !== old) old.replaceWith(row);
    } else {
      old?.remove();
      list.insertBefore(row, place);
    }
  }
  if (fresh.length > 0) tell(sentenceOf(fresh.map((id) => document.getElementById(id).dataset.name)));
  return !held;
}

function start(list) {
  const find = (id) => document.getElementById(id);
  const tell = (sentence) => { find("live-said").textContent = sentence; };
  let moved_ms = -Infinity;
  const poll = new Poll({
    ask: async (etag) => {
      const answer = await request("GET", list.dataset.live, { etag });
      if (answer.status !== null) return answer;
      // Whoever is not signed in any more is sent to another page, which is no answer here.
      const who = await request("GET", "/api/account");
      return who.status === 401 ? who : answer;
    },
    show: ({ html, words }) => {
      const before = list.innerHTML;
      const whole = showList(list, html, tell);
      if (list.innerHTML !== before) moved_ms = performance.now();
      for (const [id, text] of Object.entries(words)) {
        const shown = find(id);
        if (shown !== null && shown.textContent !== text) shown.textContent = text;
      }
      const empty = find("no-trials");
      if (empty !== null) empty.hidden = list.children.length > 0;
      return whole;
    },
    tell,
    seen: () => document.visibilityState === "visible",
    now_ms: () => performance.now(),
    // Called as plain functions: a browser's timers refuse any other owner.
    after: (then, ms) => setTimeout(then, ms),
    drop: (timer) => clearTimeout(timer),
  });
  list.addEventListener("submit", (event) => {
    if (performance.now() - moved_ms < SETTLE_MS) event.preventDefault();
  });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") poll.wake();
    else poll.sleep();
  });
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, () => poll.wake());
  poll.wake();
}

const list = globalThis.document?.querySelector("[data-live]");
if (list) start(list);
