/** First this, then that: two small pictures of tasks and an arrow. Nothing to read. */

import { kindOf, landmarksOf, piecesOf, specks } from "./course.mjs";
import { dotsOf, outlineOf, partsOf } from "./guide.mjs";
import { legsOf, signOf } from "./legs.mjs";
import { clearance, legPlaces } from "./places.mjs";
import { drawing, element, pathData } from "./signs.mjs";
import { apart, totalOf } from "./ways.mjs";

const SIGN = 22;
const CLEAR = 0.56 * SIGN;
// A piece shorter than this would be a stump behind a drawing.
const STUMP = 1.5 * CLEAR;
// A band leaves room between its pieces: at most so much of their length, and of what lies
// between two parts.
const BAND = { most: 9, least: 3, of_piece: 0.25, of_gap: 0.45 };
// `legPlaces` reckons with drawings of 13 mm.
const UNIT = SIGN / 13;
const EDGE = 3;
const SPECK = 3.2;
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

/** How far one part gets from another. */
const gapOf = (one, other) => Math.max(...one.points_mm.map((point) =>
  Math.min(...other.points_mm.map((place) => apart(point, place)))));

/** A width that reads well at this size; the true one is for the screen. */
function bandOf(parts) {
  const pieces = parts.map(piecesOf).filter((of) => of.length > 1).flat();
  const gaps = parts.flatMap((part) =>
    parts.filter((other) => other !== part).map((other) => gapOf(part, other)));
  const widths = [
    ...pieces.map((piece) => BAND.of_piece * totalOf([piece])),
    ...gaps.map((gap) => BAND.of_gap * gap),
  ];
  return Math.max(BAND.least, Math.min(BAND.most, ...widths));
}

function courseOf(parts, kind, width) {
  if (kind === "ends") return [];
  const data = parts.map((part) => pathData(outlineOf(part)) + (part.closed ? "Z" : ""));
  if (kind === "line") return data.map((d) => band(d, "thin", 2));
  if (kind === "dots") return data.map((d) => dots(d, 2.4));
  return [
    ...data.map((d) => band(d, "edge band", width)),
    ...data.map((d) => band(d, "water band", width - 2)),
  ];
}

/** What is shown of a course of which only the ends are, less what a drawing would bite. */
function specksOf(item, parts, to) {
  const homes = legsOf(item).filter(({ meet }) => meet).map(({ start }) => to(start.at_mm));
  return landmarksOf(parts).map(to).filter((place) =>
    homes.every((home) => apart(home, place) > CLEAR + SPECK / 2));
}

const dots = (d, width) =>
  element("path", { class: "dots", d, "stroke-width": width, "stroke-dasharray": "0 5" });

const disc = ([cx, cy], r, name) =>
  element("circle", { cx, cy, r, class: name, "stroke-width": 1.6 });

/** A drawing that a line runs behind, not through. */
const mark = (sign, at, side = SIGN) => [disc(at, side * 0.56, "clear"), drawing(sign, at, side)];

/** Whether a drawing on an end of a leg would hide what it belongs to, or a neighbour. */
function hides({ stretches, start, stop }, parts) {
  const pieces = stretches.map((points_mm) => piecesOf({ points_mm, closed: false }));
  const ends = [
    { at: start.at_mm, piece: pieces[0][0], of: stretches[0] },
    { at: stop.at_mm, piece: pieces.at(-1).at(-1), of: stretches.at(-1) },
  ];
  return ends.some(({ at, piece, of }) => {
    const others = parts.filter((part) => String(outlineOf(part)) !== String(of));
    return totalOf([piece]) < STUMP || clearance(others, at) < CLEAR;
  });
}

/** Both drawings of a leg beside it, or null where the card has no room for them. */
function beside(leg, parts, { x, y, width, height }) {
  const small = (point) => point.map((value) => value / UNIT);
  const target = ({ at_mm }) => ({ at_mm: small(at_mm), radius_mm: 0 });
  const [start, stop] = [target(leg.start), target(leg.stop)];
  const room = {
    left: (x + EDGE) / UNIT, top: (y + EDGE) / UNIT,
    right: (x + width - EDGE) / UNIT, bottom: (y + height - EDGE) / UNIT,
  };
  const onCard = parts.map((part) => ({
    ...part, points_mm: part.points_mm.map(small), corridor_mm: part.corridor_mm / UNIT,
  }));
  const stretches = leg.stretches.map((points) => points.map(small));
  const places = legPlaces({ room, parts: onCard, discs: [start, stop], signs: [] },
    { ...leg, stretches, start, stop, hand: undefined });
  const inside = [places.start, places.stop].some(({ at_mm }) =>
    [start, stop].some((end) => String(end.at_mm) === String(at_mm)));
  return inside ? null : [[leg.pair[0], places.start], [leg.pair[1], places.stop]]
    .map(([sign, { at_mm, side_mm }]) =>
      drawing(sign, at_mm.map((value) => value * UNIT), side_mm * UNIT));
}

function signsOf(item, to, parts, card) {
  const { x, y, width } = card;
  if (item.task.mode === "tap") return mark(signOf(item), [x + width / 2, y + SIGN / 2 + 5]);
  const moved = (target) => ({ ...target, at_mm: to(target.at_mm) });
  const legs = legsOf(item).map((leg) => ({
    ...leg, start: moved(leg.start), stop: moved(leg.stop),
    stretches: leg.stretches.map((points) => points.map(to)),
  }));
  const side = legs.length > 2 ? 14 : SIGN;
  return legs.flatMap((leg) => {
    const { start, stop, pair, meet } = leg;
    const aside = parts.length > 0 && !meet && hides(leg, parts) ? beside(leg, parts, card) : null;
    return aside ?? [
      ...(meet ? [] : mark(pair[1], stop.at_mm, side)), ...mark(pair[0], start.at_mm, side),
    ];
  });
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
  const moved = parts.map((part) => ({ ...part, points_mm: part.points_mm.map(to) }));
  const width = bandOf(moved);
  const kind = kindOf(item.show);
  const landmarks = kind === "ends" ? specksOf(item, parts, to) : [];
  // Where nothing is drawn between its ends, drawings hide nothing.
  const drawn = kind === "ends" && landmarks.length === 0 ? []
    : moved.map((part) => ({ ...part, corridor_mm: width }));
  const threads = mode === "join"
    ? legsOf(item).map(({ stretches }) => dots(pathData(stretches[0].map(to)), 1.8)) : [];
  const size = (radius_mm) => Math.min(9, Math.max(4, 1.3 * scale * radius_mm));
  return element("g", { class: "picture" }, [
    cardOf(card, name),
    ...courseOf(moved, kind, width), ...specks(landmarks, SPECK),
    ...threads,
    ...targets.map(({ at_mm, radius_mm }) => (mode === "both"
      ? drawing("coil", to(at_mm), SIGN) : disc(to(at_mm), size(radius_mm), "dot"))),
    ...signsOf(item, to, drawn, card),
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
