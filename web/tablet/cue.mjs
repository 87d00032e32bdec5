/** The cue: before a child sets out, a drawing glides once along the way and is back. */

import { heads, signAt } from "./ends.mjs";
import { legsOf } from "./legs.mjs";
import { element } from "./signs.mjs";
import { placeOn, totalOf, waysOf } from "./ways.mjs";

const SIDE_MM = 13;
const SHORTEST_MS = 2000;
const LONGEST_MS = 3000;
const LONG_MM = 400;
const REST_MS = 1500;
const RUNS = 3;
// Over this length a drawing comes into sight and goes out of it.
const FADE_MM = 5;

/** How long one run takes, nearly whatever the length. [ms] */
export const runOf = (ways) => {
  const length_mm = Math.max(0, ...ways.map(({ stretches }) => totalOf(stretches)));
  return SHORTEST_MS + (LONGEST_MS - SHORTEST_MS) * Math.min(1, length_mm / LONG_MM);
};

/**
 * What the cue shows at a time.
 *
 * @param {number} t_ms  since it began
 * @param {{run_ms: number, runs: number}} of
 * @returns {{share: number|null, runs: number, over: boolean}}  share of the way while gliding,
 *   null at rest; whole runs so far; whether that was all
 */
export function momentOf(t_ms, { run_ms, runs }) {
  const cycle_ms = run_ms + REST_MS;
  const run = Math.floor(Math.max(0, t_ms) / cycle_ms);
  const into_ms = Math.max(0, t_ms) - run * cycle_ms;
  const gliding = run < runs && into_ms < run_ms;
  return {
    share: gliding ? (1 - Math.cos((Math.PI * into_ms) / run_ms)) / 2 : null,
    runs: Math.min(runs, run + (into_ms >= run_ms ? 1 : 0)),
    over: run >= runs || (run === runs - 1 && into_ms >= run_ms),
  };
}

/** One drawing on its way. */
class Glider {
  constructor({ stretches, signs }) {
    Object.assign(this, { stretches, signs, total_mm: totalOf(stretches), sign: null });
    this.group = element("g", { class: "cue", opacity: 0 });
  }

  at(share) {
    if (share === null) return this.group.setAttribute("opacity", 0);
    const { at_mm, stretch, to_end_mm } = placeOn(this.stretches, share * this.total_mm);
    const sign = this.signs[stretch];
    if (sign !== this.sign) {
      this.sign = sign;
      this.group.replaceChildren(signAt(sign, { at_mm: [0, 0], side_mm: SIDE_MM }));
    }
    this.group.setAttribute("transform", `translate(${at_mm[0]} ${at_mm[1]})`);
    return this.group.setAttribute("opacity", Math.min(1, to_end_mm / FADE_MM));
  }
}

export class Cue {
  #frame = null;
  #told = false;

  /**
   * @param {SVGSVGElement} svg  that `drawGuide` has filled
   * @param {object} item  plan item
   * @param {object} place  as for `drawGuide`
   * @param {object} [options]
   * @param {boolean} [options.still]  arrow heads instead of anything that moves
   * @param {(frame_ms: number) => void} [options.done]  told the frame in which the first run
   *   is over and all drawings are at home: with `show.cue`, the go signal
   */
  constructor(svg, item, place, { still = false, done = () => {} } = {}) {
    Object.assign(this, { svg, item, still, done });
    this.waits = item.show?.cue === true;
    this.ways = waysOf(item);
    // A go signal is given once; nothing moves after it.
    this.of = { run_ms: runOf(this.ways), runs: this.waits ? 1 : RUNS };
  }

  /** @param {number} began_ms  frame in which the guide was first shown, clock of the page */
  start(began_ms) {
    this.stop();
    this.#told = false;
    this.scene = this.svg.querySelector(".scene");
    this.gliders = this.still ? [] : this.ways.map((way) => new Glider(way));
    this.scene.append(...this.gliders.map(({ group }) => group));
    if (this.still && !this.waits) this.#showHeads();
    const tick = (frame_ms) => {
      this.#frame = null;
      // A picture that was drawn anew, or has been set out on, needs a cue no more.
      if (this.gliders.some(({ group }) => !group.isConnected)) return this.#clear();
      const { share, runs, over } = momentOf(frame_ms - began_ms, this.of);
      this.#show(share);
      if (runs > 0) this.#tell(frame_ms);
      if (over) return this.#clear();
      this.#frame = requestAnimationFrame(tick);
      return undefined;
    };
    this.#frame = requestAnimationFrame(tick);
  }

  /** Everything that moves is gone, every drawing at home. */
  stop() {
    if (this.#frame !== null) cancelAnimationFrame(this.#frame);
    this.#frame = null;
    this.#clear();
  }

  #show(share) {
    for (const glider of this.gliders) glider.at(share);
    // What glides has left its place. Where nothing does, it comes only with the go signal.
    const gone = this.gliders.map(({ sign }) => sign);
    const held = gone.length === 0 && this.waits;
    for (const sign of this.svg.querySelectorAll(".leaves")) {
      sign.classList.toggle("away", share !== null && (held || gone.includes(sign.dataset.sign)));
    }
    for (const way of this.svg.querySelectorAll(".way")) {
      way.classList.toggle("away", share !== null && gone.length > 0);
    }
  }

  #tell(frame_ms) {
    if (this.#told) return;
    this.#told = true;
    if (this.still && this.waits) this.#showHeads();
    this.done(frame_ms);
  }

  #showHeads() {
    if (this.svg.querySelector(".way")) return;
    this.scene.append(...legsOf(this.item).map(heads));
  }

  #clear() {
    for (const { group } of this.gliders ?? []) group.remove();
    this.gliders = [];
    for (const away of this.svg.querySelectorAll(".away")) away.classList.remove("away");
  }
}
