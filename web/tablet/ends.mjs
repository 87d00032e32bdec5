/** Both ends of a leg: the round start buoy and the square stop quay, each with its drawing. */

import { legPlaces } from "./places.mjs";
import { drawing, element, pathData } from "./signs.mjs";
import { placeOn, totalOf } from "./ways.mjs";

const RING_MM = 1.1;
const HEADS_MM = [5, 9.5, 14];
const HEAD_MM = 1.7;

/** A drawing in a group that can move without the ring around it. */
export const signAt = (sign, { at_mm, side_mm }, more = "") =>
  element("g", { class: `sign${more}`, "data-sign": sign }, [drawing(sign, at_mm, side_mm)]);

export const circle = ([x, y], r, more = {}) => element("circle", { cx: x, cy: y, r, ...more });

// Rings lie inside their targets: the outer edge is the target's edge.
export const ring = ({ at_mm, radius_mm }, width_mm = RING_MM, more = {}) =>
  circle(at_mm, radius_mm - width_mm / 2, { "stroke-width": width_mm, ...more });

const square = ([x, y], half) =>
  element("rect", {
    x: x - half + RING_MM / 2, y: y - half + RING_MM / 2,
    width: 2 * half - RING_MM, height: 2 * half - RING_MM, rx: Math.min(2, half / 4),
    "stroke-width": RING_MM,
  });

/** A square that counts as such or, around a dot, frames the disc that counts. */
function quay({ at_mm, radius_mm }, framed) {
  if (!framed) return [square(at_mm, radius_mm)];
  return [square(at_mm, radius_mm + RING_MM), circle(at_mm, radius_mm, { class: "pool" })];
}

/** Arrow heads along the first stretch of a leg, as many as it has room for: which way to go. */
export function heads({ stretches: [first], start }) {
  const length_mm = totalOf([first]);
  const fitting = HEADS_MM.filter((beyond) => start.radius_mm + beyond <= length_mm);
  const data = (fitting.length > 0 ? fitting : HEADS_MM.slice(0, 1)).map((beyond) => {
    const { at_mm: [x, y], along: [tx, ty] } = placeOn([first], start.radius_mm + beyond);
    const corner = (back, side) => [x - back * tx - side * ty, y - back * ty + side * tx];
    return pathData([corner(HEAD_MM, -1.9), [x, y], corner(HEAD_MM, 1.9)]);
  });
  return element("path", { class: "way", d: data.join(""), "stroke-width": RING_MM });
}

/** One place, one drawing: what sets out from here comes home to here. */
function home({ start, stop, pair }, at, more) {
  const small = { ...start, radius_mm: 0.55 * start.radius_mm };
  const inside = String(at.at_mm) === String(start.at_mm);
  return [
    element("g", { class: `quay${more}` }, [...quay(stop, false), signAt(pair[0], at, " leaves")]),
    ...(inside ? [] : [element("g", { class: "buoy" }, [ring(small)])]),
  ];
}

/**
 * @param {object[]} legs  from `legsOf`
 * @param {import("./places.mjs").Harbour} harbour  what the drawings keep clear of
 * @param {boolean} framed  the ends are dots
 * @returns {SVGElement[]}  the last leg's quay is the one that answers
 */
export function ends(legs, harbour, framed) {
  const signs = [...harbour.signs];
  return legs.flatMap((leg, i) => {
    const places = legPlaces({ ...harbour, signs }, leg);
    const answers = i === legs.length - 1 ? " answers" : "";
    signs.push(places.stop);
    if (leg.meet) return [...home(leg, places.stop, answers), heads(leg)];
    signs.push(places.start);
    return [
      element("g", { class: `quay${answers}` },
        [...quay(leg.stop, framed), signAt(leg.pair[1], places.stop)]),
      element("g", { class: "buoy" },
        [ring(leg.start), signAt(leg.pair[0], places.start, " leaves")]),
    ];
  });
}
