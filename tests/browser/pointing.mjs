/** Pointer events without a browser, and a pen that takes them. */

import { Pen } from "../../web/tablet/pen.mjs";

/** A record at 5 CSS px for a millimetre. */
export const pen = (shown_ms = 1000) =>
  new Pen({ toMm: (x_px, y_px) => [x_px / 5, y_px / 5], shown_ms });

/** @param {"pen"|"touch"|"mouse"} kind @param {number} at  when [ms]; tells the place too */
export const event = (kind, at, more = {}) => ({
  pointerId: { pen: 1, touch: 2, mouse: 3 }[kind], pointerType: kind, button: 0, buttons: 1,
  pressure: kind === "pen" ? 0.25 : 0.5, tiltX: 12, tiltY: -40,
  timeStamp: at, clientX: at / 10, clientY: at / 20, ...more,
});
