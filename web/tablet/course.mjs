/** What is shown between the ends of a line: a channel, a thin line, dots, or nothing. */

import { cornersOf, outlineOf, turnAt, widthsOf } from "./guide.mjs";
import { element, pathData, rounded } from "./signs.mjs";
import { placeOn, totalOf } from "./ways.mjs";

const EDGE_MM = 0.45;
const LINE_MM = 0.8;
const DOT_MM = 1.1;
const DOT_GAP_MM = 3.8;
const LANDMARK_MM = 2.4;
// So much of a turn has a dot of its own where nothing but dots tells a shape.
const LANDMARK_TURN = Math.PI / 4;
const LANDMARK_GAP_MM = 12;

/** @returns {"corridor"|"line"|"dots"|"ends"}  how a plan wants its guides shown */
export const kindOf = (show) => {
  const asked = String(show?.guide ?? "corridor");
  return ["line", "dots", "ends"].find((kind) => asked.startsWith(kind)) ?? "corridor";
};

const lineData = (part) => pathData(outlineOf(part)) + (part.closed ? "Z" : "");

const discData = ([x, y], r) =>
  `M${rounded(x - r)} ${rounded(y)}a${r} ${r} 0 1 1 ${2 * r} 0a${r} ${r} 0 1 1 ${-2 * r} 0Z`;

/** One piece of a channel whose width changes, its points always in the same sense. */
function pieceData([x0, y0], [x1, y1], r0, r1) {
  const length = Math.hypot(x1 - x0, y1 - y0) || 1;
  const [nx, ny] = [(y1 - y0) / length, -(x1 - x0) / length];
  return `${pathData([
    [x0 - nx * r0, y0 - ny * r0], [x0 + nx * r0, y0 + ny * r0],
    [x1 + nx * r1, y1 + ny * r1], [x1 - nx * r1, y1 - ny * r1],
  ])}Z`;
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
  const radii = widths.map((width) => Math.max(0, rounded((width + more_mm) / 2)));
  const pieces = outline.slice(1).map((point, i) =>
    pieceData(outline[i], point, radii[i], radii[i + 1]));
  const discs = outline.map((point, i) => discData(point, radii[i]));
  return element("path", { class: `${name} area`, d: [...pieces, ...discs].join("") });
}

const thin = (d) => element("path", { class: "thin", d, "stroke-width": LINE_MM });

const dotted = (d, name, width_mm) =>
  element("path", {
    class: name, d, "stroke-width": width_mm, "stroke-dasharray": `0 ${DOT_GAP_MM}`,
  });

/** Places that share a curve evenly, the more of them the more it turns; none on a straight. */
function along(points) {
  const turn = points.slice(2).reduce(
    (sum, point, i) => sum + turnAt(points[i], points[i + 1], point), 0);
  const length_mm = totalOf([points]);
  const count = Math.min(
    Math.ceil(turn / LANDMARK_TURN - 1e-6), Math.floor(length_mm / LANDMARK_GAP_MM));
  return Array.from({ length: Math.max(0, count - 1) }, (_, i) =>
    placeOn([points], ((i + 1) * length_mm) / count).at_mm);
}

/** Pieces of a part from corner to corner, the first and the last from and to its ends. */
export function piecesOf(part) {
  const outline = outlineOf(part);
  const stops = [...new Set([0, ...cornersOf(part), outline.length - 1])];
  return stops.slice(1).map((to, i) => outline.slice(stops[i], to + 1));
}

/** Its start, its corners, and places along its curves: what tells a closed shape. */
const shapeOf = (part) => piecesOf(part).flatMap((piece) => [piece[0], ...along(piece)]);

/**
 * What is left of parts of which only the ends are shown. Two targets tell neither a closed
 * shape nor parts between the first and the last: those have dots as well.
 *
 * @param {object[]} parts  from `partsOf`
 * @returns {number[][]}  places [mm]
 */
export function landmarksOf(parts) {
  return parts.flatMap((part) => {
    if (part.closed) return shapeOf(part);
    return parts.length > 1 ? [part.points_mm[0], part.points_mm.at(-1)] : [];
  });
}

/** A round dot at each place: the caps of a line without a length that could be seen. */
export const specks = (places, width) => (places.length === 0 ? [] : [element("path", {
  class: "dots", d: places.map((place) => `${pathData([place])}h0.01`).join(""),
  "stroke-width": width,
})]);

/**
 * @param {object[]} parts  from `partsOf`
 * @param {"corridor"|"line"|"dots"|"ends"} kind
 * @returns {SVGElement[]}
 */
export function course(parts, kind) {
  if (kind === "ends") return specks(landmarksOf(parts), LANDMARK_MM);
  if (kind === "dots") return parts.map((part) => dotted(lineData(part), "dots", DOT_MM));
  const wide = kind === "line" ? [] : parts.filter((part) => Math.max(...widthsOf(part)) > EDGE_MM);
  const narrow = parts.filter((part) => !wide.includes(part));
  // All edges lie below all water, so that a crossing stays open.
  return [
    ...wide.map((part) => channel(part, EDGE_MM, "edge")),
    ...wide.map((part) => channel(part, -EDGE_MM, "water")),
    ...wide.map((part) => dotted(lineData(part), "foam", DOT_MM * 0.75)),
    ...narrow.map((part) => thin(lineData(part))),
  ];
}

/** What leads from dot to dot: a thread of dots, a thin line, or nothing. */
export function thread(points_mm, kind) {
  if (kind === "dots" || kind === "ends") return [];
  const d = pathData(points_mm);
  return [kind === "line" ? thin(d) : dotted(d, "thread", DOT_MM)];
}
