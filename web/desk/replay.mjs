/** Replay of a trial: the line grows again in time, beside a time line and curves. Nothing plays by itself. */

import { request } from "../shared/api.mjs";
import { ReplayPanel } from "./replay_panel.mjs";
import { ReplayPicture } from "./replay_picture.mjs";
import { Course, advanced, momentsOf, readout, seconds } from "./replay_time.mjs";

const STEP_MS = 50;
const NOT_FETCHED = "The samples could not be fetched, so there is no replay now. What was drawn is "
  + "safe. Load the page again to try once more.";

const byId = (id) => document.getElementById(id);

class Replay {
  #t_ms;
  #seen_ms = null;
  #playing = false;

  constructor(data) {
    this.course = new Course(data.samples);
    this.moments = momentsOf(this.course, data.events, data.calibrated);
    this.picture = new ReplayPicture(byId("replay-picture"), data, this.course);
    this.panel = new ReplayPanel(
      byId("replay-panel"), data, this.course, this.moments, (t) => this.#go(t));
    this.#t_ms = this.course.start_ms;
    this.time = byId("replay-time");
    this.play = byId("replay-play");
    this.time.step = String(STEP_MS);
    const { start_ms, end_ms } = this.course;
    this.time.max = String(Math.ceil((end_ms - start_ms) / STEP_MS) * STEP_MS);
    this.time.addEventListener("input", () => this.#go(start_ms + Number(this.time.value)));
    this.play.addEventListener("click", () => (this.#playing ? this.#stop() : this.#start()));
    byId("replay-why").textContent = [data.speed_reason, data.pressure_reason]
      .filter((why) => why !== null).join(" ");
    this.#listMoments();
    new ResizeObserver(() => this.#fit()).observe(byId("replay-panel").parentElement);
    this.#fit();
  }

  #fit() {
    this.picture.resize();
    this.panel.resize();
    this.#show();
  }

  #show() {
    const words = readout(this.course, this.#t_ms);
    this.picture.show(this.#t_ms);
    this.panel.show(this.#t_ms);
    byId("replay-now").textContent = words;
    this.time.value = String(this.#t_ms - this.course.start_ms);
    this.time.setAttribute("aria-valuetext", words);
  }

  /** Somebody chose a moment: it stays there. */
  #go(t_ms) {
    this.#stop();
    this.#t_ms = this.course.within(t_ms);
    this.#show();
  }

  #start() {
    if (this.#t_ms >= this.course.end_ms) this.#t_ms = this.course.start_ms;
    this.#playing = true;
    this.#seen_ms = null;
    this.play.textContent = "Pause";
    requestAnimationFrame((now) => this.#frame(now));
  }

  #stop() {
    this.#playing = false;
    this.play.textContent = "Play";
  }

  #frame(now_ms) {
    if (!this.#playing) return;
    const passed_ms = this.#seen_ms === null ? 0 : now_ms - this.#seen_ms;
    this.#seen_ms = now_ms;
    const speed = Number(byId("replay-speed").value);
    const { t_ms, ended } = advanced(this.course, this.#t_ms, passed_ms, speed);
    this.#t_ms = t_ms;
    this.#show();
    if (ended) this.#stop();
    else requestAnimationFrame((now) => this.#frame(now));
  }

  #listMoments() {
    byId("replay-moments").replaceChildren(...this.moments.map(({ kind, start_ms, words }) => {
      const button = document.createElement("button");
      Object.assign(button, { type: "button", className: `quiet ${kind}` });
      button.textContent = `${seconds(start_ms)} ${words}`;
      button.addEventListener("click", () => this.#go(start_ms));
      const item = document.createElement("li");
      item.append(button);
      return item;
    }));
  }
}

async function begin(section) {
  const state = byId("replay-state");
  const { status, json } = await request("GET", `/trials/${section.dataset.trial}/replay.json`);
  const trouble = status === 200 ? json.reason : NOT_FETCHED;
  if (trouble !== null) {
    state.textContent = trouble;
    return;
  }
  state.hidden = true;
  byId("replay-body").hidden = false;
  new Replay(json);
}

const section = byId("replay");
section.hidden = false;
// A long trial is several megabytes: fetched when somebody comes near it.
new IntersectionObserver((seen, observer) => {
  if (!seen.some(({ isIntersecting }) => isIntersecting)) return;
  observer.disconnect();
  begin(section);
}, { rootMargin: "300px" }).observe(section);
