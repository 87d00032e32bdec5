/** What is shown between the ends of a line: a channel, a thin line, dots, or nothing. */

import { outlineOf, widthsOf } from "./guide.mjs";
import { element, pathData, rounded } from "./signs.mjs";

const EDGE_MM = 0.45;
const LINE_MM = 0.8;
const DOT_MM = 1.1;
const DOT_GAP_MM = 3.8;

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

/**
 * @param {object[]} parts  from `partsOf`
 * @param {"corridor"|"line"|"dots"|"ends"} kind
 * @returns {SVGElement[]}
 */
export function course(parts, kind) {
  if (kind === "ends") return [];
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
