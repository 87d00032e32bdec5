/** The picture of the replay: what was asked, and the line as far as it had grown. */

import { kept, pauseRadius, pieces, pointsOf, ringsOf } from "./replay_draw.mjs";
import { passageOf, placeAfter } from "./replay_time.mjs";

const SVG = "http://www.w3.org/2000/svg";
const CLOSEST_MM = 0.2;
// So many points are written anew for each frame at most.
const PIECE = 400;
const PEN_PX = 5;
const WORDS_PX = 13;

/** An SVG element with attributes and children. */
export function drawn(name, attributes = {}, children = []) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
  made.append(...children);
  return made;
}

/** A stretch of samples drawn as far as it had come; what is whole is never written again. */
class Growing {
  #shown = null;

  constructor(samples, places, kind) {
    this.samples = samples;
    this.places = places;
    this.first = places[0];
    this.last = places[places.length - 1];
    this.node = drawn("polyline", { class: kind, display: "none" });
  }

  /** @param {number} count  samples before this one are there @param {number[]|null} tip */
  show(count, tip) {
    const shown = count <= this.first ? "none" : count > this.last ? "whole" : "part";
    if (shown === this.#shown && shown !== "part") return;
    this.#shown = shown;
    this.node.setAttribute("display", shown === "none" ? "none" : "inline");
    if (shown === "none") return;
    const { x_mm, y_mm } = this.samples;
    const there = shown === "whole" ? this.places : this.places.filter((i) => i < count);
    const points = there.map((i) => [x_mm[i], y_mm[i]]);
    if (shown === "part" && tip !== null) points.push(tip);
    this.node.setAttribute("points", pointsOf(points));
  }
}

export class ReplayPicture {
  #runs = [];
  #pauses;
  #crossings;
  #pens;
  #words = drawn("g", { class: "words" });
  #px_mm = 0.3;

  /**
   * @param {SVGElement} svg
   * @param {object} data  of the server's replay
   * @param {import("./replay_time.mjs").Course} course
   */
  constructor(svg, data, course) {
    Object.assign(this, { svg, data, course });
    const [left, top, right, bottom] = data.view_mm;
    svg.setAttribute("viewBox", `${left} ${top} ${right - left} ${bottom - top}`);
    const under = drawn("g"), over = drawn("g");
    const tapped = data.asked.lines_mm.length === 0 && data.asked.dots.length > 0;
    for (const stroke of course.strokes) this.#grow(stroke, tapped ? "ink tapped" : "ink", over);
    for (const departure of data.events.departures) {
      for (const run of this.#stretches(departure)) this.#grow(run, "departed", under);
    }
    this.#pauses = data.events.pauses.map((pause) => (
      { ...pause, node: drawn("circle", { class: "paused", cx: pause.x_mm, cy: pause.y_mm }) }));
    this.#crossings = data.events.crossings.filter(({ t_ms }) => t_ms !== null).map((crossing) => ({
      ...crossing, ...passageOf(course, crossing, data.midline_x_mm),
      node: drawn("path", { class: crossing.lifted ? "crossed lifted" : "crossed" }),
    }));
    this.#pens = course.pointers.map((pointer) => ({ pointer, node: drawn("circle", { class: "pen" }) }));
    svg.replaceChildren(
      ...asked(data), under, over, this.#words,
      ...[...this.#pauses, ...this.#crossings, ...this.#pens].map(({ node }) => node),
    );
    this.#name();
  }

  /** Marks and words keep their size on the screen whatever the scale. */
  resize() {
    const [left, , right] = this.data.view_mm;
    const width_px = this.svg.clientWidth;
    if (width_px > 0) this.#px_mm = (right - left) / width_px;
    this.#words.setAttribute("font-size", String(WORDS_PX * this.#px_mm));
    for (const { node } of this.#pens) node.setAttribute("r", String(PEN_PX * this.#px_mm));
    for (const { node, x_mm, y_mm, towards } of this.#crossings) {
      const [way, size] = [towards === "right" ? 1 : -1, 5 * this.#px_mm];
      node.setAttribute("d", `M${x_mm - way * size},${y_mm - size}L${x_mm + way * size},${y_mm}`
        + `L${x_mm - way * size},${y_mm + size}Z`);
    }
  }

  show(t_ms) {
    const tips = new Map();
    for (const { pointer, node } of this.#pens) {
      const pen = this.course.penAt(t_ms, pointer);
      tips.set(pointer, pen);
      node.setAttribute("display", pen === null ? "none" : "inline");
      if (pen === null) continue;
      node.setAttribute("cx", String(pen.x_mm));
      node.setAttribute("cy", String(pen.y_mm));
      node.setAttribute("class", pen.down ? "pen" : "pen up");
    }
    for (const { from, to, pointer, parts } of this.#runs) {
      const count = placeAfter(this.course.samples.t_ms, t_ms, from, to);
      const pen = tips.get(pointer) ?? null;
      const tip = pen !== null && pen.down && pen.at === count - 1 ? [pen.x_mm, pen.y_mm] : null;
      for (const part of parts) part.show(count, tip);
    }
    for (const { node, start_ms, end_ms } of this.#pauses) {
      const length_ms = Math.min(t_ms, end_ms) - start_ms;
      node.setAttribute("display", length_ms < 0 ? "none" : "inline");
      node.setAttribute("r", String(pauseRadius(Math.max(0, length_ms)) * this.#px_mm));
    }
    for (const one of this.#crossings) {
      one.node.setAttribute("display", t_ms < one.t_ms ? "none" : "inline");
    }
  }

  #grow({ from, to, pointer }, kind, group) {
    const places = kept(this.course.samples, from, to, CLOSEST_MM);
    const parts = pieces(places, PIECE).map((some) => new Growing(this.course.samples, some, kind));
    group.append(...parts.map(({ node }) => node));
    this.#runs.push({ from, to, pointer, parts });
  }

  /** A departure stroke by stroke: it may go on after a lift, and leaves the other hand alone. */
  #stretches({ start_index, end_index, pointer }) {
    return this.course.strokes
      .filter((stroke) => stroke.from <= end_index && stroke.to > start_index
        && (pointer ?? stroke.pointer) === stroke.pointer)
      .map((stroke) => ({
        from: Math.max(stroke.from, start_index), to: Math.min(stroke.to, end_index + 1),
        pointer: stroke.pointer,
      }));
  }

  #name() {
    const [, top] = this.data.view_mm;
    const x_mm = this.data.midline_x_mm;
    if (x_mm === null) return;
    const word = drawn("text", { class: "midline-word", x: x_mm + 1.5, y: top + 1, dy: "0.8em" });
    word.textContent = "midline";
    this.#words.append(word);
  }
}

/** What the child was asked to follow or to touch. */
function asked({ asked: { corridor_mm, lines_mm, dots, ends }, midline_x_mm, view_mm }) {
  const [, top, , bottom] = view_mm;
  const round = ({ x_mm, y_mm, radius_mm }, kind) =>
    drawn("circle", { class: kind, cx: x_mm, cy: y_mm, r: radius_mm });
  const square = ({ x_mm, y_mm, radius_mm: r }) => drawn("rect", {
    class: "end", x: x_mm - r, y: y_mm - r, width: 2 * r, height: 2 * r,
  });
  return [
    drawn("path", { class: "corridor", d: ringsOf(corridor_mm), "fill-rule": "evenodd" }),
    ...dots.map((dot) => round(dot, "corridor")),
    ...lines_mm.map((line) => drawn("polyline", { class: "guide", points: pointsOf(line) })),
    ...(midline_x_mm === null ? []
      : [drawn("line", { class: "midline", x1: midline_x_mm, x2: midline_x_mm, y1: top, y2: bottom })]),
    ...ends.map((end) => (end.kind === "start" ? round(end, "end") : square(end))),
  ];
}
