/** A sitting without a browser: a screen that shows frames when told, a tablet that takes notes. */

import { Sitting } from "../../web/tablet/sitting.mjs";
import { pageOf } from "./elements.mjs";

const guide = { points_mm: [[10, 50], [110, 50]], closed: false, corridor_mm: 12, stop_radius_mm: 5 };

export const item = (item_id, more = {}) => ({
  item_id, state: "open", repetitions: 2, task: { mode: "trace", name: item_id }, guide,
  condition: {}, show: {}, ...more,
});

/** An item that may be made easier: 9 mm each side in place of 6. */
export const graded = (item_id, more = {}) => item(item_id, {
  steps: { easier: { task: { mode: "trace", name: item_id }, guide: { ...guide, corridor_mm: 18 } } },
  ...more,
});

/** An item whose guide has no room on the screen of `narrowRoom`. */
export const far = item("far", { guide: { points_mm: [[0, 0], [900, 0]], corridor_mm: 12 } });

const place = {
  px_per_mm: 1, origin_mm: [0, 0], screen_mm: [207, 136],
  mapping: { toMm: (x, y) => [x, y], toPx: (x, y) => [x, y] },
};

const nothing = () => {};

/** Listeners by name, for the page, the document and the drawing surface alike. */
class Ears {
  #heard = [];

  addEventListener = (name, hear, { signal } = {}) => {
    const one = { name, hear };
    this.#heard.push(one);
    signal?.addEventListener("abort", () => this.#heard.splice(this.#heard.indexOf(one), 1));
  };

  setPointerCapture = nothing;

  fire(name, event = {}) {
    for (const { hear } of this.#heard.filter((one) => one.name === name)) {
      hear({ target: this, preventDefault: nothing, ...event });
    }
  }
}

/** Shows a guide in the frame that `frame` stands for. */
class FakeScreen {
  surface = new Ears();
  able = { fits: () => true, touches: 5, pressure: null };
  scale = { px_per_mm: 1, calibrated: true, why: null };
  placed = place;
  still = null;
  asked = null;
  ink = Object.fromEntries(
    ["down", "move", "up", "release", "clear", "redraw"].map((name) => [name, nothing]));

  constructor() {
    for (const name of ["listenToCorners", "hideGuide", "setOut", "thank", "layOut"]) {
      this[name] = nothing;
    }
  }

  place = () => place;
  device = () => ({ scale: this.scale, screen_mm: [207, 136], origin_mm: [0, 0], secure: true });
  warning = () => "";
  tooSmall = () => "";
  showStill = (phase) => { this.still = phase; };
  showFirstThen = (first) => { this.first = first; };
  show = (shown, how) => { this.asked = { item: shown, ...how }; };

  frame(at_ms = performance.now()) {
    this.asked.shown(at_ms, place);
  }
}

/** @param {import("node:test").TestContext} context @param {object[]} items */
export function sittingWith(context, items) {
  context.mock.timers.enable({ apis: ["setTimeout", "setInterval"] });
  const { find, choice } = pageOf("strip", { mark: ["ok", "spoilt"], hand: ["left", "right"] });
  const [page, paper] = [new Ears(), new Ears()];
  Object.assign(globalThis.document, { hidden: false, addEventListener: paper.addEventListener });
  Object.assign(globalThis, {
    addEventListener: page.addEventListener, innerWidth: 1180, innerHeight: 820,
    devicePixelRatio: 2, matchMedia: () => ({ addEventListener: nothing, matches: false }),
  });
  Object.defineProperty(globalThis, "navigator", { value: {}, configurable: true });
  const [kept, marks, seen] = [[], [], []];
  const tablet = {
    plans: [{ plan_id: "plan", version: 1, session_label: ["boat", "kite"], items }],
    pairing: { tablet_id: "tab" }, day: {}, abilities: {},
    progressOf: async (plan_id) => ({ plan_id, seq: 0, items: {}, steps: {} }),
    room: async () => "room", begin: () => null, learn: nothing, fetchDay: nothing,
    keepTrial: async (document) => kept.push(document),
    keepProgress: async () => {},
    keepMark: (trial_id, mark) => marks.push({ trial_id, ...mark }),
    keepObservation: (plan_id, what) => seen.push({ plan_id, ...what }),
    store: { all: async () => [] },
  };
  const screen = new FakeScreen();
  let left = 0;
  const sitting = new Sitting({ tablet, screen, find, left: () => { left += 1; } });
  const point = (kind, x, pressed, more) => screen.surface.fire(`pointer${kind}`, {
    pointerId: 1, pointerType: "pen", button: 0, buttons: pressed, pressure: 0.4,
    timeStamp: performance.now(), clientX: x, clientY: 50, ...more,
  });
  return {
    sitting, tablet, screen, kept, marks, seen, page, find, choice, wait: (ms) => context.mock.timers.tick(ms),
    left: () => left, press: (id) => find(`strip-${id}`).click(),
    down: (x, more) => point("down", x, 1, more), up: (x, more) => point("up", x, 0, more),
    hide(hidden) {
      document.hidden = hidden;
      paper.fire("visibilitychange");
    },
    /** Sit down and wait until the first guide is shown. */
    async toGuide(setup = null) {
      await sitting.begin("plan", setup);
      context.mock.timers.tick(2200);
      screen.frame();
    },
  };
}

/** The same on a screen of 200 mm whose pen feels no pressure. */
export function narrowRoom(context, items) {
  const room = sittingWith(context, items);
  room.screen.able = {
    fits: ({ points_mm }) => points_mm[1][0] < 200, touches: 5, pressure: false,
  };
  return room;
}
