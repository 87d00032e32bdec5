/** One child's plan from the first picture to the last. */

import { randomId } from "../shared/sha256.mjs";
import { Acting } from "./acting.mjs";
import { Attempt } from "./attempt.mjs";
import { Awake } from "./awake.mjs";
import { Corners } from "./corners.mjs";
import { attempted, atStep, itemAfter, nextItem, offered } from "./day.mjs";
import { watchLeaving } from "./leaving.mjs";
import { Saying } from "./saying.mjs";
import { endForgottenRests, tellNotHere } from "./rest.mjs";
import { orientationNow } from "./screen.mjs";
import { Strip } from "./strip.mjs";
import { EARLY, stripState } from "./telling.mjs";
import { askedOf, trialDocument } from "./trial.mjs";

const FIRST_MS = 2200;
const THANKS_MS = 2600;

/**
 * Phases: first (first this, then that), waiting (a guide, no contact yet), drawing, thanks,
 * and those that stand still: end, turn, rest, full, scale. null: nobody sits here.
 */
export class Sitting {
  #rests = Promise.resolve();

  /**
   * @param {object} options
   * @param {import("./tablet.mjs").Tablet} options.tablet
   * @param {import("./screen.mjs").Screen} options.screen
   * @param {(id: string) => HTMLElement} options.find
   * @param {() => void} options.left  back to the children
   */
  constructor({ tablet, screen, find, left }) {
    Object.assign(this, { tablet, screen, left });
    this.phase = null;
    this.attempt = null;
    this.timer = null;
    this.awake = new Awake();
    this.strip = new Strip(find, new Acting(this));
    this.corners = new Corners({ opened: () => this.openStrip() });
    this.screen.listenToCorners(this.corners, () => this.openStrip());
    this.screen.surface.addEventListener("pointerdown", (event) => this.#touched(event));
    this.screen.surface.addEventListener("pointerup", (event) => this.#tapped(event));
    watchLeaving(this);
    this.#endForgottenRests();
  }

  /** @param {{tablet_at: string, surface: string}|null} setup  what the adult confirmed */
  async begin(plan_id, setup) {
    Object.assign(this, {
      plan_id, setup, last: null, item: null, introduced: null, accepted: new Set(),
      unsaid: [],
    });
    clearTimeout(this.timer);
    this.#dropAttempt();
    this.phase = null;
    this.progress = { ...await this.tablet.progressOf(plan_id), setup };
    this.awake.hold();
    this.#endForgottenRests();
    await this.#measureRoom();
    if (this.progress.rest_ms) this.stand("rest");
    else this.next();
  }

  /** The plan as it was last fetched: a newer version takes over between pictures. */
  get plan() {
    return this.tablet.plans.find((plan) => plan.plan_id === this.plan_id) ?? null;
  }

  get items() {
    return this.plan ? offered(this.plan, this.screen.able).items : [];
  }

  get quiet() {
    return this.progress.quiet ?? this.item?.show?.quiet === true;
  }

  next() {
    clearTimeout(this.timer);
    if (this.phase === null && !this.plan) return this.leave();
    // Under another scale nobody knows what has room.
    if (this.#isZoomed()) return this.stand("scale");
    const { items } = this;
    const planned = nextItem(items, this.progress);
    if (!planned) {
      tellNotHere(this);
      return this.stand("end");
    }
    const item = atStep(planned, this.progress);
    if (!this.screen.place(item.guide)) return this.stand("turn", item);
    if (this.full && !this.accepted.has("full")) return this.stand("full", item);
    if (item.item_id === this.introduced) return this.#show(item);
    return this.#introduce(item, itemAfter(items, this.progress, planned));
  }

  /** Go on after a line, once its thank-you is over and the strip is closed; a rest stays one. */
  goOn() {
    if (this.phase === "rest") return;
    if (this.phase !== "thanks" || !this.timer) this.next();
  }

  startOver() {
    if (this.phase === "first") this.introduced = null;
    this.#dropAttempt();
    this.next();
  }

  #isZoomed() {
    return this.screen.scale.why === "zoomed" && !this.accepted.has("scale");
  }

  #endForgottenRests() {
    // One look after the other: two at once would each keep the same rest. What cannot be
    // read now is asked for again with the next child.
    this.#rests = this.#rests
      .then(() => endForgottenRests(this.tablet, this.plan_id)).catch(() => {});
  }

  async #measureRoom() {
    this.full = await this.tablet.room() === "full";
  }

  /** A still picture, until an adult goes on or the tablet is turned. */
  stand(phase, item = null) {
    clearTimeout(this.timer);
    this.#dropAttempt();
    this.item = item;
    this.phase = phase;
    if (phase === "rest") this.introduced = null;
    this.screen.showStill(phase === "scale" ? "full" : phase);
    if (phase === "full" || phase === "scale") this.openStrip();
  }

  #introduce(item, then) {
    this.item = item;
    this.introduced = item.item_id;
    this.phase = "first";
    this.touch = null;
    this.screen.quiet = this.quiet;
    this.screen.showFirstThen(item, then);
    // The plan may have changed or run out by then: what comes is asked anew.
    this.timer = setTimeout(() => this.phase === "first" && this.next(), FIRST_MS);
  }

  #touched({ pointerId, target }) {
    if (this.phase === "first" && !target.closest?.(".corner")) this.touch = pointerId;
  }

  // A palm that still lay there from the line before is no tap.
  #tapped({ pointerId }) {
    if (this.phase === "first" && !this.strip.open && pointerId === this.touch) this.next();
  }

  #show(item) {
    this.item = item;
    this.phase = "waiting";
    const plan = { plan_id: this.plan_id, version: this.plan.version };
    let trial = null;
    this.screen.show(item, {
      quiet: this.quiet,
      shown: (shown_ms, place) => {
        // The strip or the end of the sitting may have come before the frame did.
        if (this.phase !== "waiting" || this.item !== item || this.strip.open) return;
        trial = this.#trialOf(plan, shown_ms, place);
        this.#listen(trial, shown_ms, place);
      },
      go: (at_ms) => {
        if (trial && this.attempt && item.show?.cue === true && this.phase === "waiting") {
          trial.cue_ms = Math.round((at_ms - this.attempt.shown_ms) * 10) / 10;
        }
      },
    });
  }

  /** Everything about a trial that is known before its first contact. */
  #trialOf(plan, shown_ms, place) {
    const { item } = this;
    const { seq, repetition } = attempted(this.progress, item);
    return {
      trial_id: randomId(), seq, plan, item: askedOf(item, this.setup, place), repetition,
      device: this.deviceAt(place),
      shown: {
        guide: item.show?.guide ?? "corridor", cue: this.screen.isStill ? "still" : "moving",
        quiet: this.quiet,
      },
      // From the clock: the page's own time stands still while the tablet sleeps.
      started_at: new Date(Date.now() - (performance.now() - shown_ms)).toISOString(),
    };
  }

  /** What the tablet says of itself in a trial. */
  deviceAt(place) {
    return {
      ...this.screen.device(place), tablet_id: this.tablet.pairing.tablet_id,
      clock_offset_ms: this.tablet.day?.clock_offset_ms,
    };
  }

  #listen(trial, shown_ms, place) {
    this.#dropAttempt();
    this.attempt = new Attempt({
      surface: this.screen.surface, ink: this.screen.ink, item: this.item,
      mapping: place.mapping, shown_ms,
      journal: this.tablet.begin({
        trial_id: trial.trial_id, base: trial,
        progress: attempted(this.progress, trial.item).progress,
      }),
      begun: () => {
        this.phase = "drawing";
        this.orientation = orientationNow();
        if (trial.item.show?.cue === true && trial.cue_ms === undefined) this.attempt.note(EARLY);
        this.screen.setOut();
      },
      ended: (ended_by) => this.#ended(trial, ended_by),
    });
  }

  #ended(trial, ended_by) {
    const { pen, marks } = this.attempt;
    const after = attempted(this.progress, trial.item).progress;
    // Before anything else: Firefox may cut off the first script of a page that is left. The
    // next one finds all as it was and makes the same trial.
    const kept = this.tablet.keepTrial(
      trialDocument({ ...trial, pen, marks, ended_by }),
      { leaving: ended_by === "left_page", progress: after });
    kept.then(() => this.#measureRoom());
    this.attempt = null;
    this.phase = "thanks";
    this.progress = after;
    this.last = new Saying(
      this.tablet, { plan_id: this.plan_id, trial_id: trial.trial_id, item: this.item, marks });
    this.tablet.learn(pen);
    for (const say of this.unsaid.splice(0)) say(this.last);
    this.screen.thank();
    this.timer = setTimeout(() => {
      this.timer = null;
      if (!this.strip.open) this.next();
    }, THANKS_MS);
    this.tablet.fetchDay();
  }

  /** End the line that is being drawn, if there is one. */
  endLine(ended_by) {
    if (this.phase === "drawing") this.attempt.end(ended_by);
  }

  /**
   * Say something of the line being drawn, once it is a trial, or else of the last one.
   *
   * @param {(saying: Saying) => void} say
   * @returns {boolean}  false if there is no trial that it could be about
   */
  say(say) {
    if (this.phase === "drawing") this.unsaid.push(say);
    else if (this.last) say(this.last);
    return this.phase === "drawing" || this.last !== null;
  }

  resumeLine() {
    this.attempt.note("strip_closed");
    this.attempt.resume();
  }

  keepProgress(progress) {
    this.progress = progress;
    return this.tablet.keepProgress(progress);
  }

  openStrip() {
    if (this.strip.open || this.phase === null) return;
    if (this.phase === "drawing") {
      this.attempt.note("strip_opened");
      this.attempt.pause();
    } else if (this.phase === "waiting") {
      // The guide goes, so that its next first frame is a true beginning.
      this.#dropAttempt();
      this.screen.hideGuide();
    }
    clearTimeout(this.timer);
    this.timer = null;
    this.strip.show(stripState(this));
  }

  #dropAttempt() {
    this.attempt?.drop();
    this.attempt = null;
  }

  leave() {
    this.endLine("adult");
    tellNotHere(this);
    clearTimeout(this.timer);
    this.#dropAttempt();
    this.phase = null;
    this.awake.release();
    this.screen.hideGuide();
    this.left();
  }
}
