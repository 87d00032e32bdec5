/** Wiring of the tablet page: which screen is shown, and when. */

import { Calibrating } from "./calibrating.mjs";
import { Children, loadSigns } from "./children.mjs";
import { watchClock } from "./clock.mjs";
import { offered, signsOf } from "./day.mjs";
import { install, takeOver } from "./installing.mjs";
import { aloneHere } from "./only.mjs";
import { Pairing } from "./pairing.mjs";
import { Screen } from "./screen.mjs";
import { SetUp } from "./setup.mjs";
import { Sitting } from "./sitting.mjs";
import { askBeforeLeaving, stayOnBack, withoutLoss } from "./staying.mjs";
import { Tablet } from "./tablet.mjs";

const SCREENS = ["start", "elsewhere", "pair", "calibrate", "children", "setup", "draw"];
// Reasons to have the scale checked before a child draws.
const ASKED_AGAIN = new Set(["zoomed", "turned", "old"]);
// A page that was cut off in a write may leave the storage locked until its browser ends.
const SILENT_MS = 8000;
// The page opens without its drawings; words stand in their place until they come.
const DRAWINGS_MS = 3000;

const find = (id) => document.getElementById(id);

let current = "start";
// Another window may hold the storage, or take it over with a newer page.
const tablet = new Tablet(
  () => current === "children" && children.refresh(), () => show("elsewhere"));
let screen = null;
let children = null;
let calibrating = null;
let pairing = null;
let setup = null;
let sitting = null;
let stay = null;

function show(name) {
  current = name;
  find("adult").hidden = name === "draw";
  for (const one of SCREENS) find(one).hidden = one !== name;
  if (name === "draw") return;
  scrollTo(0, 0);
  find(name).querySelector("h1").focus();
}

function showPair(fault = "", code = "") {
  show("pair");
  pairing.open({ fault, code, back: tablet.day !== null });
}

/** @param {() => void} [then]  where to go on; to the children by default */
function showCalibrate(then = refetch) {
  show("calibrate");
  calibrating.open(tablet.calibration, then);
}

async function showChildren(trouble = "") {
  const before = current;
  await children.show(trouble);
  // An adult may have gone somewhere else meanwhile, or be reading here already.
  if (current === before && current !== "children") show("children");
}

/** Show the children with the last plans at once, then with what the server says. */
async function refetch() {
  if (tablet.day !== null) await showChildren();
  const before = current;
  const { status, title } = await tablet.fetchDay();
  // An adult may have gone on with the last plans meanwhile.
  if (current !== before) return undefined;
  if (status === 401) {
    return showPair("This tablet's pairing has ended. Pair it again. Lines that wait here are safe.");
  }
  const trouble = status === 200 || status === 304 ? ""
    : status === null ? "The server does not answer. The plans shown were fetched earlier; lines are kept on this tablet and sent later."
      : `The plans could not be fetched (${status}). ${title}`;
  return showChildren(trouble);
}

/** Plans may only seem to have run out, or not to have: ask the server for its time. */
async function clockSet() {
  // Never during a line; after it the plans are fetched anyway.
  if (tablet.pairing === null || sitting.phase === "drawing") return;
  await tablet.fetchDay();
  if (current === "children") children.show(children.trouble);
  if (sitting.phase === "end" && sitting.plan && !sitting.strip.open) sitting.next();
}

/** An adult chose a child: check the scale if it is due, then ask how the tablet lies. */
async function choose(plan_id) {
  const progress = await tablet.progressOf(plan_id);
  // Another child was tapped first, or something else.
  if (current !== "children") return undefined;
  // The page was loaded again during a rest: nobody is to be asked anything.
  if (progress.rest_ms) return sit(plan_id, progress.setup ?? null);
  if (ASKED_AGAIN.has(screen.scale.why)) return showCalibrate(() => showSetup(plan_id, progress));
  return showSetup(plan_id, progress);
}

function showSetup(plan_id, progress) {
  const plan = tablet.plans.find((one) => one.plan_id === plan_id);
  if (!plan) return showChildren();
  show("setup");
  const signs = signsOf(plan);
  return setup.open({
    plan, ...offered(plan, screen.able), progress, last: tablet.lastSetup(signs),
    done: async (chosen) => {
      if (chosen) await tablet.keepSetup(signs, chosen);
      // Of two taps, or a "Back" and a tap, one counts.
      if (current === "setup") await sit(plan_id, chosen);
    },
  });
}

function sit(plan_id, chosen) {
  show("draw");
  stay();
  return sitting.begin(plan_id, chosen);
}

async function paired() {
  if (tablet.calibration === null) showCalibrate();
  else await refetch();
}

function wire() {
  screen = new Screen(find, tablet);
  children = new Children(find, { tablet, screen, chosen: choose });
  sitting = new Sitting({ tablet, screen, find, left: () => refetch() });
  setup = new SetUp(find, { back: () => showChildren() });
  pairing = new Pairing(find, { tablet, paired, back: () => showChildren() });
  calibrating = new Calibrating(find, { kept: (calibration) => tablet.keepCalibration(calibration) });
  find("go-pair").addEventListener("click", () => showPair());
  find("go-calibrate").addEventListener("click", () => showCalibrate());
  find("go-fetch").addEventListener("click", refetch);
  addEventListener("resize", () => current === "children" && children.show(children.trouble));
  stay = stayOnBack(() => current === "draw");
  askBeforeLeaving(() => tablet.losable);
  watchClock(clockSet);
}

/** A newer page may come in this one's place: nobody draws, and nothing would be lost. */
const mayLoad = () => current === "children" && !tablet.losable;

const atMost = (most_ms, done) =>
  new Promise((resolve) => {
    const timer = setTimeout(resolve, most_ms);
    done.then(() => {
      clearTimeout(timer);
      resolve();
    });
  });

async function start() {
  const drawings = loadSigns(find("signs")).then(() => true, () => false);
  const [alone] = await Promise.all([aloneHere(), atMost(DRAWINGS_MS, drawings)]);
  find("elsewhere-again").addEventListener("click", () =>
    withoutLoss(tablet, find("elsewhere-not"), () => location.reload()));
  if (!alone) return show("elsewhere");
  const silent = setTimeout(() => { find("start-silent").hidden = false; }, SILENT_MS);
  await tablet.open();
  clearTimeout(silent);
  wire();
  drawings.then((came) => came && current === "children" && children.show(children.trouble));
  install({ updateReady: () => children.offerUpdate(() => takeOver(mayLoad)) })
    .then((result) => children.keptHere(result === "ready"));
  const code = pairing.scannedCode();
  return code || tablet.pairing === null ? showPair("", code) : refetch();
}

start();
