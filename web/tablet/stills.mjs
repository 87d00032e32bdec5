/** Pictures without a guide: all is drawn, and the screen must be turned. */

import { drawing, element } from "./picture.mjs";

const sea = (y) => element("path", {
  fill: "#CFE3E6", d: `M10 ${y} H230 V${y + 26} Q120 ${y + 34} 10 ${y + 26} Z`,
});

/** The harbour at the end of the day: the boat lies at the quay. */
const harbour = () => [
  sea(116),
  element("path", { fill: "#3F7A81", d: "M150 96 H230 V122 H150 Z" }),
  drawing("lighthouse", [194, 62], 70),
  drawing("boat", [98, 92], 66),
  drawing("gull", [44, 36], 30),
  drawing("fish", [46, 129], 18),
];

/** A tablet on its edge, an arrow, a tablet lying. */
const turn = () => [
  element("rect", {
    x: 34, y: 34, width: 58, height: 92, rx: 8, fill: "#FFFFFF", stroke: "#5A6472",
    "stroke-width": 4,
  }),
  drawing("boat", [63, 80], 32),
  element("path", {
    fill: "none", stroke: "#0F6B6B", "stroke-width": 5, "stroke-linecap": "round",
    d: "M84 18 C104 8 126 10 140 28",
  }),
  element("path", { fill: "#0F6B6B", d: "M128 31 L148 40 L149 17 Z" }),
  element("rect", {
    x: 122, y: 58, width: 92, height: 58, rx: 8, fill: "#FFFFFF", stroke: "#0F6B6B",
    "stroke-width": 4,
  }),
  drawing("boat", [168, 87], 36),
];

/** @param {SVGSVGElement} svg @param {"end"|"turn"} phase */
export const drawStill = (svg, phase) =>
  svg.replaceChildren(...(phase === "turn" ? turn() : harbour()));
