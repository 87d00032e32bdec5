/** The time line of the replay, and beneath it speed and pressure over the same time. */

import { outline, pauseRadius, pointsOf, ticks, topOf } from "./replay_draw.mjs";
import { drawn } from "./replay_picture.mjs";

const [LEFT, RIGHT] = [50, 12];
const LINE_Y = 44;
const CURVE = 76;
const GAP = 34;
const AXIS = 40;
const SNAP_PX = 8;
const MOST_PAUSE_PX = 9;

export class ReplayPanel {
  #cursor = drawn("line", { class: "cursor" });
  #t_ms = 0;
  #width = 600;
  #top;

  /**
   * @param {SVGElement} svg
   * @param {object} data  of the server's replay
   * @param {import("./replay_time.mjs").Course} course
   * @param {object[]} moments  of `momentsOf`
   * @param {(t_ms: number) => void} go
   */
  constructor(svg, data, course, moments, go) {
    Object.assign(this, { svg, data, course, moments });
    this.curves = curvesOf(data, course);
    this.#top = data.samples.speed_mm_s === null ? 20 : topOf(data.samples.speed_mm_s);
    const seek = (event) => go(this.#timeAt(event.clientX, event.type === "pointerdown"));
    svg.addEventListener("pointerdown", (event) => {
      svg.setPointerCapture(event.pointerId);
      seek(event);
    });
    svg.addEventListener("pointermove", (event) => {
      if (svg.hasPointerCapture(event.pointerId)) seek(event);
    });
  }

  resize() {
    this.#width = Math.max(240, this.svg.clientWidth);
    const height = LINE_Y + 24 + this.curves.length * (CURVE + GAP) + AXIS;
    this.svg.setAttribute("viewBox", `0 0 ${this.#width} ${height}`);
    this.svg.setAttribute("height", String(height));
    const bottom = height - AXIS;
    this.svg.replaceChildren(
      ...this.#timeLine(), ...this.curves.flatMap((curve, i) => this.#curve(curve, i)),
      ...this.#axis(bottom), this.#cursor,
    );
    this.#cursor.setAttribute("y1", "24");
    this.#cursor.setAttribute("y2", String(bottom));
    this.show(this.#t_ms);
  }

  show(t_ms) {
    this.#t_ms = t_ms;
    const x = String(this.#across(t_ms));
    this.#cursor.setAttribute("x1", x);
    this.#cursor.setAttribute("x2", x);
  }

  #across(t_ms) {
    const { start_ms, end_ms } = this.course;
    const share = end_ms > start_ms ? (t_ms - start_ms) / (end_ms - start_ms) : 0;
    return LEFT + share * (this.#width - LEFT - RIGHT);
  }

  /** The moment under a place on the screen; a press near a mark is meant for the mark. */
  #timeAt(client_px, pressed) {
    const { left, width } = this.svg.getBoundingClientRect();
    const x = (client_px - left) * (this.#width / width);
    const { start_ms, end_ms } = this.course;
    const near = this.moments
      .map(({ start_ms: t }) => [Math.abs(this.#across(t) - x), t])
      .sort(([a], [b]) => a - b)[0];
    if (pressed && near !== undefined && near[0] <= SNAP_PX) return near[1];
    const share = (x - LEFT) / (this.#width - LEFT - RIGHT);
    return this.course.within(start_ms + share * (end_ms - start_ms));
  }

  #timeLine() {
    const across = (t) => this.#across(t);
    const bar = ({ start_ms, end_ms }, kind) => drawn("line", {
      class: kind, x1: across(start_ms), x2: Math.max(across(start_ms) + 1.5, across(end_ms)),
      y1: LINE_Y, y2: LINE_Y,
    });
    const marks = this.moments.map((moment) => {
      const node = this.#mark(moment, bar, across);
      const title = drawn("title");
      title.textContent = moment.words;
      node.append(title);
      return node;
    });
    const order = ["stroke", "departure", "pause", "crossing"];
    const sorted = this.moments.map(({ kind }, i) => [order.indexOf(kind), marks[i]])
      .sort(([a], [b]) => a - b).map(([, node]) => node);
    const ends = { x1: LEFT, x2: this.#width - RIGHT, y1: LINE_Y, y2: LINE_Y };
    return [words("time line", LEFT, 14), drawn("line", { class: "air", ...ends }), ...sorted];
  }

  #mark(moment, bar, across) {
    const x = across(moment.start_ms);
    switch (moment.kind) {
      case "stroke": return bar(moment, "stroke");
      case "departure": return bar(moment, "out");
      case "pause": {
        const r = Math.min(MOST_PAUSE_PX, pauseRadius(moment.end_ms - moment.start_ms));
        return drawn("circle", { class: "paused", cx: x, cy: LINE_Y, r });
      }
      default: {
        const way = moment.towards === "right" ? 6 : -6;
        const d = `M${x - way / 2},${LINE_Y - 18}l${way},5l${-way},5Z`;
        return drawn("path", { class: moment.lifted ? "crossed lifted" : "crossed", d });
      }
    }
  }

  #curve({ title, name, low, high, whole }, i) {
    const top = LINE_Y + 24 + GAP + i * (CURVE + GAP);
    const max = high ?? this.#top;
    const down = (value) => top + CURVE * (1 - Math.min(1.05, (value - low) / (max - low)));
    const { t_ms } = this.data.samples;
    const lines = this.course.strokes.flatMap((stroke) =>
      outline(t_ms, this.data.samples[name], stroke, (t) => this.#across(t)).map((line) =>
        drawn("polyline", {
          class: stroke.pointer === 0 ? "curve" : "curve other",
          points: pointsOf(line.map(([x, value]) => [x, down(value)])),
        })));
    const marks = ticks(low, max, 4).filter((value) => !whole || [0, 0.5, 1].includes(value));
    return [
      words(title, LEFT, top - 10),
      ...marks.flatMap((value) => [
        drawn("line", {
          class: "grid", x1: LEFT, x2: this.#width - RIGHT, y1: down(value), y2: down(value),
        }),
        words(whole ? `${100 * value} %` : String(value), LEFT - 6, down(value) + 4, "end"),
      ]),
      ...lines,
    ];
  }

  #axis(bottom) {
    const { start_ms, end_ms } = this.course;
    const most = Math.max(5, Math.floor(this.#width / 90));
    return [
      ...ticks(start_ms / 1000, end_ms / 1000, most).map((s) =>
        words(String(s), this.#across(1000 * s), bottom + 16, "middle")),
      words("time since the guide was shown, s", LEFT, bottom + 34),
    ];
  }
}

function curvesOf({ samples, speed_reason, pressure_reason, pressure_note }, course) {
  const two = course.pointers.length > 1 ? "; second contact dashed" : "";
  const speed = { name: "speed_mm_s", title: `speed, mm/s${two}`, low: 0, high: null, whole: false };
  const pressure = {
    name: "pressure", title: `pressure: ${pressure_note}`, low: 0, high: 1, whole: true,
  };
  return [
    ...(speed_reason === null && samples.speed_mm_s !== null ? [speed] : []),
    ...(pressure_reason === null && samples.pressure !== null ? [pressure] : []),
  ];
}

function words(text, x, y, anchor = "start") {
  const made = drawn("text", { x, y, "text-anchor": anchor });
  made.textContent = text;
  return made;
}
