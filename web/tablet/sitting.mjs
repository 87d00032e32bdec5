/** One child's plan from the first picture to the last. */

import { randomId } from "../shared/sha256.mjs";
import { Attempt } from "./attempt.mjs";
import { Corners } from "./corners.mjs";
import { attempted, nextItem, offered, oneMore, remaining, skipped } from "./day.mjs";
import { describe, MARKS, Strip } from "./strip.mjs";
import { trialDocument } from "./trial.mjs";

const THANKS_MS = 2600;

export class Sitting {
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
    this.thanks = null;
    this.strip = new Strip(find, {
      mark: (kind) => this.#mark(kind),
      done: () => this.attempt?.end("adult"),
      again: () => this.#again(),
      skip: () => this.#skip(),
      leave: () => this.#leave(),
      close: () => this.#carryOn(),
    });
    this.corners = new Corners({ opened: () => this.openStrip() });
    this.screen.listenToCorners(this.corners, () => this.openStrip());
    addEventListener("resize", () => this.#resized());
    document.addEventListener("visibilitychange", () => this.#seen());
    addEventListener("pagehide", () => this.attempt?.drawn && this.attempt.end("left_page"));
  }

  async begin(plan_id) {
    this.plan_id = plan_id;
    this.last = null;
    this.progress = await this.tablet.progressOf(plan_id);
    this.next();
  }

  /** The plan as it was last fetched: a newer version takes over between pictures. */
  get plan() {
    return this.tablet.plans.find((plan) => plan.plan_id === this.plan_id) ?? null;
  }

  next() {
    clearTimeout(this.thanks);
    if (this.phase === null && !this.plan) return this.#leave();
    const items = this.plan ? offered(this.plan, (guide) => this.screen.fits(guide)).items : [];
    const item = nextItem(items, this.progress);
    if (!item) return this.#rest("end", null);
    return this.screen.place(item.guide) ? this.#show(item) : this.#rest("turn", item);
  }

  #rest(phase, item) {
    this.item = item;
    this.attempt = null;
    this.phase = phase;
    this.screen.showStill(phase);
  }

  #show(item) {
    this.item = item;
    this.shown = { plan_id: this.plan_id, version: this.plan.version };
    this.phase = "waiting";
    this.screen.show(item, (shown_ms, place) => {
      // The strip or the end of the sitting may have come before the frame did.
      if (this.phase !== "waiting" || this.item !== item || this.strip.open) return;
      this.attempt?.drop();
      this.attempt = new Attempt({
        surface: this.screen.surface, ink: this.screen.ink, item, mapping: place.mapping, shown_ms,
        begun: () => {
          this.phase = "drawing";
          this.screen.setOut();
        },
        ended: (ended_by) => this.#ended(ended_by),
      });
    });
  }

  #ended(ended_by) {
    const { attempt, item } = this;
    const started_at = new Date(performance.timeOrigin + attempt.shown_ms).toISOString();
    this.attempt = null;
    this.phase = "thanks";
    const { progress, seq, repetition } = attempted(this.progress, item);
    const trial_id = randomId();
    this.last = { item, trial_id, mark: null };
    this.#keepProgress(progress);
    this.tablet.keepTrial(trialDocument({
      trial_id, seq, plan: this.shown, item, repetition,
      device: {
        ...this.screen.device(), tablet_id: this.tablet.pairing.tablet_id,
        clock_offset_ms: this.tablet.day?.clock_offset_ms,
      },
      pen: attempt.pen, started_at, ended_by, marks: attempt.marks,
    }), { leaving: ended_by === "left_page" });
    this.screen.thank(item);
    this.thanks = setTimeout(() => !this.strip.open && this.next(), THANKS_MS);
    this.tablet.fetchDay();
  }

  #keepProgress(progress) {
    this.progress = progress;
    this.tablet.keepProgress(progress);
  }

  openStrip() {
    if (this.strip.open || this.phase === null) return;
    if (this.phase === "drawing") {
      this.attempt.note("strip_opened");
      this.attempt.pause();
    } else if (this.phase === "waiting") {
      // The guide goes, so that its next first frame is a true beginning.
      this.attempt?.drop();
      this.attempt = null;
      this.screen.hideGuide();
    }
    clearTimeout(this.thanks);
    this.strip.show({ ...this.#stripState(), warning: this.screen.warning() });
  }

  #stripState() {
    const drawing = this.phase === "drawing";
    const item = this.item ?? this.last?.item;
    const about = drawing
      ? { name: `This line: ${this.item.task.name}`, mark: null }
      : this.last && { name: `The last line: ${this.last.item.task.name}`, mark: this.last.mark };
    const can = ["leave"];
    if (drawing) can.push("done");
    if (drawing || this.last) can.push("again");
    if (drawing || this.phase === "waiting" || this.phase === "turn") can.push("skip");
    const titles = { end: "All pictures are drawn", turn: "Turn the tablet" };
    return {
      title: titles[this.phase] ?? item.task.name ?? "Picture",
      note: this.phase === "turn" ? this.screen.tooSmall()
        : titles[this.phase] ? "" : this.#noteOf(item),
      about: about ?? null, can,
    };
  }

  #noteOf(item) {
    const left = remaining(this.progress, item);
    return [describe(item), left > 0 ? `${left} to go` : null].filter(Boolean).join(" · ");
  }

  #carryOn() {
    if (this.phase === "drawing") {
      this.attempt.note("strip_closed");
      this.attempt.resume();
    } else {
      this.next();
    }
  }

  #mark(kind) {
    const drawing = this.phase === "drawing";
    if (drawing) this.attempt.end("adult");
    const { last } = this;
    // A spoilt line does not use up one of the planned attempts.
    if (kind === "spoilt" && last.mark !== "spoilt") this.#oneMore(last.item);
    if (kind !== "spoilt" && last.mark === "spoilt") this.#oneLess(last.item);
    last.mark = kind;
    this.tablet.keepMark(last.trial_id, MARKS[kind]);
    if (!drawing) this.next();
  }

  #oneMore(item) {
    this.#keepProgress(oneMore(this.progress, item));
  }

  #oneLess(item) {
    this.#keepProgress({ ...attempted(this.progress, item).progress, seq: this.progress.seq });
  }

  #again() {
    const drawing = this.phase === "drawing";
    if (drawing) this.attempt.end("adult");
    this.#oneMore(this.last.item);
    if (!drawing) this.next();
  }

  #skip() {
    const { item } = this;
    if (this.phase === "drawing") {
      this.attempt.end("adult");
      this.tablet.keepMark(this.last.trial_id, MARKS.stopped);
    }
    this.#keepProgress(skipped(this.progress, item));
    this.next();
  }

  #leave() {
    if (this.phase === "drawing") this.attempt.end("adult");
    clearTimeout(this.thanks);
    this.attempt?.drop();
    this.attempt = null;
    this.phase = null;
    this.left();
  }

  #resized() {
    if (this.phase === null) return;
    if (this.phase === "turn") return this.next();
    const place = this.item && this.screen.place(this.item.guide);
    if (this.phase === "drawing") {
      if (!place) return this.attempt.end("left_page");
      this.screen.layOut(this.item, place);
      this.screen.setOut();
      this.attempt.moved(place.mapping);
      if (this.strip.open) this.attempt.pause();
      return undefined;
    }
    if (this.phase === "waiting" && !this.strip.open) {
      this.attempt?.drop();
      this.attempt = null;
      this.next();
    }
    return undefined;
  }

  /** Out of sight, a drawn line is closed; an untouched guide begins anew when seen again. */
  #seen() {
    if (document.hidden) {
      if (this.phase === "drawing") this.attempt.end("left_page");
      clearTimeout(this.thanks);
    } else if (!this.strip.open && (this.phase === "waiting" || this.phase === "thanks")) {
      this.attempt?.drop();
      this.attempt = null;
      this.next();
    }
  }
}
