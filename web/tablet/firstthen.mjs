/** First this, then that: two small pictures of tasks and an arrow. Nothing to read. */

import { kindOf } from "./course.mjs";
import { dotsOf, outlineOf, partsOf } from "./guide.mjs";
import { legsOf, signOf } from "./legs.mjs";
import { drawing, element, pathData } from "./signs.mjs";

const SIGN = 22;
const FIRST = { x: 6, y: 36, width: 96, height: 88 };
const THEN = { x: 138, y: 36, width: 96, height: 88 };

/** Places on the card for places in the task, the whole of it at one scale. */
function fitted(points, { x, y, width, height }) {
  const [xs, ys] = [points.map((point) => point[0]), points.map((point) => point[1])];
  const [left, top] = [Math.min(...xs), Math.min(...ys)];
  const [wide, high] = [Math.max(...xs) - left, Math.max(...ys) - top];
  const inner = [width - SIGN - 10, height - SIGN - 10];
  const scale = Math.min(inner[0] / (wide || 1), inner[1] / (high || 1));
  return {
    scale,
    to: ([px, py]) => [
      x + width / 2 + scale * (px - left - wide / 2),
      y + height / 2 + scale * (py - top - high / 2),
    ],
  };
}

const band = (d, name, width) => element("path", { class: name, d, "stroke-width": width });

/** A course as wide as reads well at this size; its true width is for the screen. */
function courseOf(parts, kind, to) {
  const data = parts.map((part) => pathData(outlineOf(part).map(to)) + (part.closed ? "Z" : ""));
  if (kind === "ends") return [];
  if (kind === "line") return data.map((d) => band(d, "thin", 2));
  if (kind === "dots") return data.map((d) => dots(d, 2.4));
  return [
    ...data.map((d) => band(d, "edge band", 9)), ...data.map((d) => band(d, "water band", 7)),
  ];
}

const dots = (d, width) =>
  element("path", { class: "dots", d, "stroke-width": width, "stroke-dasharray": "0 5" });

const disc = ([cx, cy], r, name) =>
  element("circle", { cx, cy, r, class: name, "stroke-width": 1.6 });

/** A drawing that a line runs behind, not through. */
const mark = (sign, at, side = SIGN) => [disc(at, side * 0.56, "clear"), drawing(sign, at, side)];

function signsOf(item, to, { x, y, width }) {
  if (item.task.mode === "tap") return mark(signOf(item), [x + width / 2, y + SIGN / 2 + 5]);
  const legs = legsOf(item);
  const side = legs.length > 2 ? 14 : SIGN;
  return legs.flatMap(({ start, stop, pair, meet }) => [
    ...(meet ? [] : mark(pair[1], to(stop.at_mm), side)), ...mark(pair[0], to(start.at_mm), side),
  ]);
}

const cardOf = ({ x, y, width, height }, name) =>
  element("rect", { class: name, x, y, width, height, rx: 8, "stroke-width": 2 });

/**
 * A small picture of a task: its outline in a card, with its drawings.
 *
 * @param {object} item  plan item
 * @param {{x: number, y: number, width: number, height: number}} card
 * @returns {SVGGElement}
 */
function pictureOf(item, card, name = "card") {
  const { guide, task: { mode } } = item;
  const [targets, parts] = [dotsOf(guide), partsOf(guide)];
  const points = [...parts.flatMap(outlineOf), ...targets.map(({ at_mm }) => at_mm)];
  const inner = mode === "tap"
    ? { ...card, y: card.y + SIGN - 4, height: card.height - SIGN + 4 } : card;
  const { to, scale } = fitted(points, inner);
  const threads = mode === "join"
    ? legsOf(item).map(({ stretches }) => dots(pathData(stretches[0].map(to)), 1.8)) : [];
  const size = (radius_mm) => Math.min(9, Math.max(4, 1.3 * scale * radius_mm));
  return element("g", { class: "picture" }, [
    cardOf(card, name),
    ...courseOf(parts, kindOf(item.show), to),
    ...threads,
    ...targets.map(({ at_mm, radius_mm }) => (mode === "both"
      ? drawing("coil", to(at_mm), SIGN) : disc(to(at_mm), size(radius_mm), "dot"))),
    ...signsOf(item, to, card),
  ]);
}

/** What comes when all is drawn. */
function home(card, name) {
  const long = card.width - 10;
  return element("g", { class: "picture" }, [
    cardOf(card, name),
    element("path", {
      class: "water area",
      d: `M${card.x + 5} ${card.y + 62}h${long}v16q0 5 -5 5h${10 - long}q-5 0 -5 -5Z`,
    }),
    drawing("lighthouse", [card.x + 70, card.y + 40], 42),
    drawing("boat", [card.x + 30, card.y + 49], 38),
  ]);
}

const arrow = () =>
  element("g", { class: "picture" }, [
    element("path", { class: "then", d: "M110 80H124", "stroke-width": 5 }),
    element("path", { class: "then", d: "M121 72L130 80L121 88", "stroke-width": 5 }),
  ]);

/**
 * @param {SVGSVGElement} svg  whose view is 240 by 160
 * @param {object} first  plan item
 * @param {object|null} then  plan item, or null: then all is drawn
 */
export function drawFirstThen(svg, first, then) {
  svg.replaceChildren(
    pictureOf(first, FIRST, "card first"), arrow(),
    then ? pictureOf(then, THEN) : home(THEN, "card"),
  );
}
