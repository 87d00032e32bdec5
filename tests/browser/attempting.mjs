/** An attempt without a browser, for the tests of what ends it and what it keeps. */

import { mock } from "node:test";

import { Attempt } from "../../web/tablet/attempt.mjs";

const line = { points_mm: [[10, 50], [110, 50]], closed: false, corridor_mm: 12, stop_radius_mm: 5 };

/** What the page has under the pointer: listeners and captures, without a browser. */
class Surface {
  handlers = new Map();
  captured = [];

  addEventListener(name, handle, { signal }) {
    this.handlers.set(name, handle);
    signal.addEventListener("abort", () => this.handlers.delete(name));
  }

  setPointerCapture(pointerId) {
    this.captured.push(pointerId);
  }

  fire(name, event) {
    this.handlers.get(name)?.({ preventDefault() {}, target: this, ...event });
  }
}

/** An attempt on a mocked clock. One CSS pixel is one millimetre. */
export function begin(context, { guide = line, mode = "trace", show = {}, journal = null } = {}) {
  context.mock.timers.enable({ apis: ["setTimeout", "setInterval"] });
  const surface = new Surface();
  const ink = Object.fromEntries(["down", "move", "up", "release", "clear", "redraw"]
    .map((name) => [name, mock.fn()]));
  const ended = [];
  const begun = mock.fn();
  const attempt = new Attempt({
    surface, ink, journal, begun, item: { task: { mode }, guide, show }, shown_ms: 0,
    mapping: { toMm: (x, y) => [x, y], toPx: (x, y) => [x, y] },
    ended: (ended_by) => ended.push(ended_by),
  });
  let now_ms = 0;
  context.mock.method(performance, "now", () => now_ms);
  const fire = (kind) => (x, y = 50, more = {}) => {
    now_ms += 5;
    surface.fire(`pointer${kind}`, {
      pointerId: 1, pointerType: "pen", button: 0, buttons: kind === "up" ? 0 : 1,
      pressure: 0.4, timeStamp: now_ms, clientX: x, clientY: y, ...more,
    });
  };
  const [down, move, up] = ["down", "move", "up"].map(fire);
  const draw = (from, to, more = {}) => {
    down(from, 50, more);
    for (let x = from + 1; x < to; x += 1) move(x, 50, more);
    up(to, 50, more);
  };
  return {
    attempt, surface, ink, ended, begun, down, move, up, draw, cancel: fire("cancel"),
    wait: (ms) => context.mock.timers.tick(ms), samples: () => attempt.pen.columns,
  };
}
