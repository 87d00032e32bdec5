/** What the buttons of the adult strip do in a sitting. */

import { isSkipped, oneLess, oneMore, remaining, skipped, stepped } from "./day.mjs";
import { keepRest, tellNotDone } from "./rest.mjs";

// Phases in which "Carry on" means: I have read it, go on.
const TROUBLES = new Set(["full", "scale"]);

export class Acting {
  /** @param {import("./sitting.mjs").Sitting} sitting */
  constructor(sitting) {
    this.sitting = sitting;
  }

  /** @param {object} [details]  why, hand_used and help, as a mark carries them */
  mark(kind, details) {
    const { sitting } = this;
    sitting.endLine("adult");
    const { last } = sitting;
    // A spoilt line does not use up one of the planned attempts, unless it is asked again
    // anyway, or not at all any more.
    if (kind === "spoilt" && !last.repeated && !isSkipped(sitting.progress, last.item)) {
      this.#repeat(last, "spoilt");
    }
    if (kind !== "spoilt" && last.repeated === "spoilt") {
      this.#count(oneLess, last.item);
      last.repeated = null;
    }
    last.mark(kind, details);
    sitting.goOn();
  }

  hand(which) {
    this.sitting.say((saying) => saying.hand(which));
  }

  saw(kind) {
    const { tablet, plan_id } = this.sitting;
    if (!this.sitting.say((saying) => saying.saw(kind))) tablet.keepObservation(plan_id, { kind });
  }

  done() {
    this.sitting.endLine("adult");
    this.sitting.goOn();
  }

  again() {
    const { sitting } = this;
    sitting.endLine("adult");
    this.#repeat(sitting.last, "again");
    sitting.goOn();
  }

  /** What was not drawn of this item will not be: the desk is told so. */
  skip() {
    const { sitting } = this;
    const { item } = sitting;
    this.#stopLine();
    tellNotDone(sitting, "skipped", [this.#planned(item) ?? item]);
    this.#count(skipped, item);
    sitting.next();
  }

  easier() {
    this.#step("easier");
  }

  harder() {
    this.#step("harder");
  }

  quiet(on) {
    const { sitting } = this;
    // A line that was begun says of itself how it was shown then.
    if (sitting.phase === "drawing") sitting.attempt.note(on ? "quiet_on" : "quiet_off");
    sitting.keepProgress({ ...sitting.progress, quiet: on });
    sitting.screen.quiet = on;
  }

  rest() {
    const { sitting } = this;
    const { phase } = sitting;
    this.#stopLine("rest");
    // The picture that was broken off is asked again after the rest.
    if (phase === "drawing") this.#repeat(sitting.last, "rest");
    sitting.keepProgress({ ...sitting.progress, rest_ms: Date.now() });
    sitting.stand("rest");
  }

  resume(why) {
    this.#endRest(why);
    this.sitting.next();
  }

  /** The end for today: what was not drawn is told to be so, with the reason. */
  async finish(why) {
    const { sitting } = this;
    this.#endRest(why);
    tellNotDone(sitting, why);
    await sitting.keepProgress(sitting.progress);
    sitting.leave();
  }

  leave() {
    this.sitting.leave();
  }

  close() {
    const { sitting } = this;
    if (sitting.phase === "drawing") sitting.resumeLine();
    else if (sitting.phase !== "rest") {
      if (TROUBLES.has(sitting.phase)) sitting.accepted.add(sitting.phase);
      sitting.next();
    }
  }

  #endRest(why) {
    const { sitting } = this;
    keepRest(sitting.tablet, sitting.plan_id, sitting.progress.rest_ms, why);
    sitting.keepProgress({ ...sitting.progress, rest_ms: null });
  }

  #step(way) {
    const { sitting } = this;
    const { phase, item } = sitting;
    this.#stopLine();
    const planned = this.#planned(item);
    const progress = planned && stepped(sitting.progress, planned, way);
    if (progress) {
      sitting.keepProgress(progress);
      // A picture that was broken off is asked again at the new step; where all is drawn, one is.
      const over = remaining(progress, planned) === 0;
      if (phase === "drawing" || over) this.#once(item);
    }
    sitting.next();
  }

  /** An item as the plan has it now, at no step of its own. */
  #planned({ item_id }) {
    return this.sitting.plan?.items.find((item) => item.item_id === item_id);
  }

  /** End a line that is being drawn as one that does not count. */
  #stopLine(why) {
    const { sitting } = this;
    if (sitting.phase !== "drawing") return;
    sitting.endLine("adult");
    sitting.last.mark("stopped", why ? { why } : {});
  }

  /** One more attempt at what a trial was about. */
  #repeat(saying, why) {
    saying.repeated ??= why;
    this.#count(oneMore, saying.item);
  }

  /** One more attempt at an item, which may not have been drawn since this page was loaded. */
  #once(item) {
    const { last } = this.sitting;
    if (last?.item.item_id === item.item_id) this.#repeat(last, "step");
    else this.#count(oneMore, item);
  }

  #count(change, item) {
    this.sitting.keepProgress(change(this.sitting.progress, item));
  }
}
