/** Pictures without a task: all is drawn, turn the tablet, rest, no room left. */

import { drawing, element } from "./signs.mjs";

// Wider and deeper than any screen: the sea has no edge.
const FAR = 900;

const sea = (y, fill) =>
  element("rect", { x: -FAR, y, width: 2 * FAR + 240, height: FAR, fill });

const ground = (x, y, fill) =>
  element("path", { fill, d: `M${x} ${y} H${FAR + 240} V${y + 22} H${x} Z` });

/** Short level ripples, each `[x, y, length]`. */
const ripples = (places, stroke) =>
  element("path", {
    fill: "none", stroke, "stroke-width": 1.6, "stroke-linecap": "round",
    d: places.map(([x, y, long]) => `M${x} ${y}q${long / 4} -2.4 ${long / 2} 0t${long / 2} 0`)
      .join(""),
  });

const RIPPLES = [[14, 134, 22], [84, 140, 18], [128, 152, 24], [42, 158, 20], [190, 158, 20]];

const CRATES = [
  [142, 84], [170, 84], [198, 84], [226, 84], [156, 61], [184, 61], [212, 61], [170, 38], [198, 38],
];

/** The harbour at the end of the day: the boat lies at the quay. */
const harbour = () => [
  sea(114, "#CFE3E6"),
  ripples(RIPPLES, "#FFFFFF"),
  ground(150, 96, "#3F7A81"),
  drawing("lighthouse", [196, 63], 68),
  drawing("boat", [104, 90], 64),
  drawing("gull", [46, 40], 28),
];

/** The harbour at night. Hardly any light, nothing that asks for anything. */
const night = () => [
  sea(114, "#1A252D"),
  element("path", { fill: "#3A4650", d: "M62 22 A15 15 0 1 0 77 44 A12 12 0 1 1 62 22 Z" }),
  ripples(RIPPLES, "#26333D"),
  ground(150, 96, "#222D36"),
  element("g", { opacity: 0.2 }, [
    drawing("lighthouse", [196, 63], 68), drawing("boat", [104, 90], 64),
  ]),
];

/** No room for more: the quay is full, the boat is made fast beside it. */
const full = () => [
  sea(114, "#CFE3E6"),
  ripples(RIPPLES, "#FFFFFF"),
  ground(122, 96, "#3F7A81"),
  ...CRATES.map((at) => drawing("crate", at, 28)),
  element("path", {
    fill: "none", stroke: "#7A5200", "stroke-width": 2.4, "stroke-linecap": "round",
    d: "M92 108 Q108 122 124 100",
  }),
  drawing("boat", [66, 90], 64),
];

const tablet = (x, y, width, height, stroke) =>
  element("rect", { x, y, width, height, rx: 8, fill: "#FFFFFF", stroke, "stroke-width": 4 });

/** A tablet on its edge, an arrow, a tablet lying. */
const turn = () => [
  tablet(34, 34, 58, 92, "#5A6472"),
  drawing("boat", [63, 80], 32),
  element("path", {
    fill: "none", stroke: "#0F6B6B", "stroke-width": 5, "stroke-linecap": "round",
    d: "M84 18 C104 8 126 10 140 28",
  }),
  element("path", { fill: "#0F6B6B", d: "M128 31 L148 40 L149 17 Z" }),
  tablet(122, 58, 92, 58, "#0F6B6B"),
  drawing("boat", [168, 87], 36),
];

const STILLS = { end: harbour, turn, rest: night, full };

/** @param {SVGSVGElement} svg @param {"end"|"turn"|"rest"|"full"} phase */
export const drawStill = (svg, phase) => svg.replaceChildren(...STILLS[phase]());
