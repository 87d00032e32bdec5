/**
 * What the adult says of one trial.
 *
 * The newest mark counts, so each one carries everything that was said before it.
 */

const OUTCOMES = { ok: "finished", helped: "finished", spoilt: "spoilt", stopped: "stopped" };

export class Saying {
  /**
   * @param {import("./tablet.mjs").Tablet} tablet
   * @param {{plan_id: string, trial_id: string, item: object,
   *          marks?: {t_ms: number, kind: string}[]}} about  marks: of its document
   */
  constructor(tablet, { plan_id, trial_id, item, marks = [] }) {
    Object.assign(this, { tablet, plan_id, trial_id, item, marks });
    this.kind = null;
    // Why one more attempt was asked for: "spoilt", "again", "rest", "step"; null when none was.
    this.repeated = null;
    this.said = {};
    this.seen = [];
  }

  /**
   * @param {"ok"|"helped"|"spoilt"|"stopped"} kind
   * @param {{why?: string, hand_used?: string, help?: object}} [details]
   */
  mark(kind, details = {}) {
    const { hand_used, help: helped } = this.said;
    // "OK" takes help back; the reason belongs to the outcome that it was given for.
    const before = kind === this.kind ? this.said
      : { hand_used, help: kind === "ok" ? undefined : helped };
    const help = kind === "helped" ? { help: { given: true, ...before.help, ...details.help } } : {};
    this.kind = kind;
    this.#send({ ...before, ...details, ...help, outcome: OUTCOMES[kind] });
  }

  hand(hand_used) {
    this.#send({ ...this.said, hand_used });
  }

  /** Something to be ticked: once is enough. */
  saw(kind) {
    if (this.seen.includes(kind)) return;
    this.seen.push(kind);
    this.tablet.keepObservation(this.plan_id, { kind, trial_id: this.trial_id });
  }

  #send(said) {
    this.said = Object.fromEntries(Object.entries(said).filter(([, value]) => value !== undefined));
    this.tablet.keepMark(this.trial_id, this.said);
  }
}
