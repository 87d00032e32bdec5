/** The guide on the screen, at true scale: channel, start buoy, stop quay. */

import { outlineOf, partsOf, pointAlong, targetsOf, widthsOf } from "./guide.mjs";
import { signPlaces } from "./places.mjs";

const SVG = "http://www.w3.org/2000/svg";
const EDGE_MM = 0.45;
const LINE_MM = 0.8;
const DOT_MM = 1.1;
const DOT_GAP_MM = 3.8;
const RING_MM = 1.1;

// What a child is told to go from and to. The same task always shows the same pair.
const PAIRS = [
  ["boat", "lighthouse"], ["crab", "shell"], ["kite", "flag"], ["ferry", "bell"],
  ["fish", "wave"], ["gull", "boat"], ["oar", "anchor"], ["bucket", "lantern"],
];

export function pairOf(name) {
  let sum = 7;
  for (const letter of name) sum = (sum * 31 + letter.codePointAt(0)) % 65521;
  return PAIRS[sum % PAIRS.length];
}

export function element(name, attributes = {}, children = []) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

/** Drawing `sign` in a square of `side` around `at`. */
export const drawing = (sign, [x, y], side) =>
  element("use", {
    href: `#sign-${sign}`, x: x - side / 2, y: y - side / 2, width: side, height: side,
  });

const number = (value) => Math.round(value * 1000) / 1000;

const lineData = (part) =>
  outlineOf(part)
    .map(([x, y], i) => `${i === 0 ? "M" : "L"}${number(x)} ${number(y)}`)
    .join("") + (part.closed ? "Z" : "");

const discData = ([x, y], r) =>
  `M${number(x - r)} ${number(y)}a${r} ${r} 0 1 1 ${2 * r} 0a${r} ${r} 0 1 1 ${-2 * r} 0Z`;

/** One piece of a channel whose width changes, its points always in the same sense. */
function pieceData([x0, y0], [x1, y1], r0, r1) {
  const length = Math.hypot(x1 - x0, y1 - y0) || 1;
  const [nx, ny] = [(y1 - y0) / length, -(x1 - x0) / length];
  const corners = [
    [x0 - nx * r0, y0 - ny * r0], [x0 + nx * r0, y0 + ny * r0],
    [x1 + nx * r1, y1 + ny * r1], [x1 - nx * r1, y1 - ny * r1],
  ];
  return `M${corners.map(([x, y]) => `${number(x)} ${number(y)}`).join("L")}Z`;
}

/** Everything within half the width of the line, widened by `more_mm` in all. */
function channel(part, more_mm, name) {
  const widths = widthsOf(part);
  if (widths.every((width) => width === widths[0])) {
    return element("path", {
      class: `${name} band`, d: lineData(part), "stroke-width": widths[0] + more_mm,
    });
  }
  const outline = outlineOf(part);
  const radii = widths.map((width) => number((width + more_mm) / 2));
  const pieces = outline.slice(1).map((point, i) =>
    pieceData(outline[i], point, radii[i], radii[i + 1]));
  const discs = outline.map((point, i) => discData(point, radii[i]));
  return element("path", { class: `${name} area`, d: [...pieces, ...discs].join("") });
}

const dotted = (part, name, width_mm) =>
  element("path", {
    class: name, d: lineData(part), "stroke-width": width_mm,
    "stroke-dasharray": `0 ${DOT_GAP_MM}`,
  });

/** What is shown between the ends: the channel, a thin line, dots, or nothing. */
function course(guide, kind) {
  const parts = partsOf(guide);
  if (kind === "ends") return [];
  if (kind === "line") {
    return parts.map((part) =>
      element("path", { class: "thin", d: lineData(part), "stroke-width": LINE_MM }));
  }
  if (kind === "dots") return parts.map((part) => dotted(part, "dots", DOT_MM));
  // All edges lie below all water, so that a crossing stays open.
  return [
    ...parts.map((part) => channel(part, EDGE_MM, "edge")),
    ...parts.map((part) => channel(part, -EDGE_MM, "water")),
    ...parts.map((part) => dotted(part, "foam", DOT_MM * 0.75)),
  ];
}

/** The drawing of an end, in a group that can move without the ring around it. */
const signAt = (sign, { at_mm, side_mm }) =>
  element("g", { class: "sign" }, [drawing(sign, at_mm, side_mm)]);

// The rings lie inside the targets: their outer edge is the target's edge.
function quay({ at_mm: [x, y], radius_mm: r }) {
  return element("rect", {
    x: x - r + RING_MM / 2, y: y - r + RING_MM / 2,
    width: 2 * r - RING_MM, height: 2 * r - RING_MM, rx: Math.min(2, r / 4),
    "stroke-width": RING_MM,
  });
}

const buoy = ({ at_mm: [x, y], radius_mm }) =>
  element("circle", { cx: x, cy: y, r: radius_mm - RING_MM / 2, "stroke-width": RING_MM });

function ends(guide, [startSign, stopSign], room) {
  const { start, stop } = targetsOf(guide);
  const places = signPlaces(guide, room);
  // One place, one drawing: a closed guide ends where it began.
  const meet = start.at_mm[0] === stop.at_mm[0] && start.at_mm[1] === stop.at_mm[1];
  const landing = element("g", { class: "quay" }, [quay(stop), signAt(stopSign, places.stop)]);
  if (meet) {
    const small = { ...start, radius_mm: 0.55 * start.radius_mm };
    return [landing, element("g", { class: "buoy" }, [buoy(small)]), wayOut(guide, start)];
  }
  return [landing, element("g", { class: "buoy" }, [buoy(start), signAt(startSign, places.start)])];
}

/** Three arrow heads along the first stretch: which way to go where both ends are one. */
function wayOut(guide, { radius_mm }) {
  const heads = [5, 9.5, 14].map((beyond) => {
    const { at: [x, y], along: [tx, ty] } = pointAlong(guide, radius_mm + beyond);
    const corner = (back, side) =>
      `${number(x - back * tx - side * ty)} ${number(y - back * ty + side * tx)}`;
    return `M${corner(1.6, -1.8)}L${corner(0, 0)}L${corner(1.6, 1.8)}`;
  });
  return element("path", { class: "way", d: heads.join(""), "stroke-width": RING_MM });
}

const kindOf = (show) => {
  const asked = String(show?.guide ?? "corridor");
  return ["line", "dots", "ends"].find((kind) => asked.startsWith(kind)) ?? "corridor";
};

/**
 * Draw an item's guide into an SVG that covers the screen.
 *
 * @param {SVGSVGElement} svg
 * @param {object} item  plan item
 * @param {{px_per_mm: number, origin_mm: [number, number], screen_mm: [number, number]}} place
 */
export function drawGuide(svg, item, { px_per_mm, origin_mm, screen_mm }) {
  const [x_px, y_px] = origin_mm.map((mm) => mm * px_per_mm);
  const [left, top] = origin_mm.map((mm) => -mm);
  const room = { left, top, right: left + screen_mm[0], bottom: top + screen_mm[1] };
  const pair = pairOf(item.task.task_id ?? item.task.name ?? "");
  const group = element(
    "g",
    { transform: `matrix(${px_per_mm} 0 0 ${px_per_mm} ${x_px} ${y_px})` },
    [...course(item.guide, kindOf(item.show)), ...ends(item.guide, pair, room)],
  );
  svg.replaceChildren(group);
}

/** The way is shown only until the child sets out. */
export const setOut = (svg) => svg.querySelector(".way")?.remove();

/** The thank-you: the drawing at the stop answers. How gently is for the style sheet. */
export const answer = (svg) => svg.querySelector(".quay")?.classList.add("answered");
