/** The task on the screen, at true scale: its course, its dots, its ends with their drawings. */

import { course, kindOf, thread } from "./course.mjs";
import { hold, lookout, porthole, post } from "./dots.mjs";
import { ends } from "./ends.mjs";
import { dotsOf, partsOf } from "./guide.mjs";
import { legsOf, oneHand, signOf } from "./legs.mjs";
import { element } from "./signs.mjs";

function tapped(item, dots, room, hand) {
  const harbour = { room, parts: [], discs: dots, signs: [] };
  return [...dots.map(porthole), lookout(signOf(item), dots, harbour, hand)];
}

function joined(item, dots, legs, room) {
  const harbour = { room, parts: [], discs: dots, signs: [] };
  const kind = kindOf(item.show);
  const ended = new Set(legs.flatMap(({ start, stop }) => [start.at_mm, stop.at_mm].map(String)));
  return [
    ...legs.flatMap(({ stretches }) => thread(stretches[0], kind)),
    ...dots.filter(({ at_mm }) => !ended.has(String(at_mm))).map(post),
    ...ends(legs, harbour, true),
  ];
}

function followed(item, held, legs, room) {
  const parts = partsOf(item.guide);
  const discs = [...held, ...legs.flatMap(({ start, stop }) => [start, stop])];
  return [
    ...course(parts, kindOf(item.show)),
    ...held.map(hold),
    ...ends(legs, { room, parts, discs, signs: [] }, false),
  ];
}

/**
 * All that is shown of an item, in mm of its task area.
 *
 * @param {object} item  plan item
 * @param {{left: number, top: number, right: number, bottom: number}} room  the screen [mm]
 * @param {string} [hand]  that draws
 * @returns {SVGElement[]}
 */
function sceneOf(item, room, hand) {
  const dots = dotsOf(item.guide);
  const legs = legsOf(item, hand);
  const { mode } = item.task;
  if (mode === "tap") {
    return dots.length ? tapped(item, dots, room, oneHand(hand)) : [];
  }
  if (mode === "join") return joined(item, dots, legs, room);
  return followed(item, mode === "both" ? dots : [], legs, room);
}

/**
 * Draw an item into an SVG that covers the screen.
 *
 * @param {SVGSVGElement} svg
 * @param {object} item  plan item
 * @param {{px_per_mm: number, origin_mm: [number, number], screen_mm: [number, number]}} place
 * @param {{hand?: string, quiet?: boolean}} [how]  hand that draws; softer contrast
 */
export function drawGuide(svg, item, { px_per_mm, origin_mm, screen_mm }, how = {}) {
  const { hand = item.condition?.hand, quiet = false } = how;
  const [x_px, y_px] = origin_mm.map((mm) => mm * px_per_mm);
  const [left, top] = origin_mm.map((mm) => -mm);
  const room = { left, top, right: left + screen_mm[0], bottom: top + screen_mm[1] };
  svg.replaceChildren(element(
    "g",
    {
      class: quiet ? "scene quiet" : "scene",
      transform: `matrix(${px_per_mm} 0 0 ${px_per_mm} ${x_px} ${y_px})`,
    },
    sceneOf(item, room, hand),
  ));
}

/** The way is shown only until the child sets out. */
export function setOut(svg) {
  for (const shown of svg.querySelectorAll(".way, .cue")) shown.remove();
  for (const away of svg.querySelectorAll(".away")) away.classList.remove("away");
}

/** The thank-you: one drawing answers. How gently is for the style sheet. */
export const answer = (svg) => svg.querySelector(".answers")?.classList.add("answered");
