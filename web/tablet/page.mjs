/** Wiring of the tablet page: which screen is shown, and when. */

import { Calibrating } from "./calibrating.mjs";
import { Children, loadSigns } from "./children.mjs";
import { Screen } from "./screen.mjs";
import { Sitting } from "./sitting.mjs";
import { Tablet } from "./tablet.mjs";

const SCREENS = ["start", "pair", "calibrate", "children", "draw"];
const CODE_LENGTH = 8;

const find = (id) => document.getElementById(id);

let current = "start";
const tablet = new Tablet(() => current === "children" && children.refresh());
let children = null;
let calibrating = null;
let sitting = null;

function show(name) {
  current = name;
  find("adult").hidden = name === "draw";
  for (const screen of SCREENS) find(screen).hidden = screen !== name;
  if (name !== "draw") scrollTo(0, 0);
}

function showPair(fault = "", code = "") {
  show("pair");
  find("pair-fault").textContent = fault;
  find("pair-back").hidden = tablet.day === null;
  find("pair-code").value = code;
  find("pair-code").focus();
}

/** A pairing code that came behind the "#" of a scanned link, which no server sees. */
function scannedCode() {
  const code = /(?:^#|=)([2-9A-Z]{8})$/i.exec(location.hash)?.[1] ?? "";
  if (code) history.replaceState(null, "", location.pathname);
  return code;
}

function showCalibrate() {
  show("calibrate");
  calibrating.open(tablet.calibration);
}

async function showChildren(trouble = "") {
  await children.show(trouble);
  show("children");
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

function pairingFault({ status, title }) {
  if (status === null) {
    return "The server does not answer. Check that this tablet is on the right network, then try again.";
  }
  if (status === 429) return "Too many tries. Wait a minute, then type the code again.";
  if (status >= 500) return `The server could not pair this tablet. ${title}`.trim();
  return "That code is not known, or it was used, or it is older than ten minutes. Make a new one on the desk page.";
}

async function pair(event) {
  event.preventDefault();
  const code = find("pair-code").value.replace(/[\s-]/g, "").toUpperCase();
  if (code.length !== CODE_LENGTH) {
    find("pair-fault").textContent =
      `A pairing code has ${CODE_LENGTH} characters; this one has ${code.length}.`;
    return;
  }
  const answer = await tablet.pair(code);
  if (answer.status === null || answer.status >= 400) {
    find("pair-fault").textContent = pairingFault(answer);
    find("pair-code").select();
    return;
  }
  if (tablet.calibration === null) showCalibrate();
  else await refetch();
}

async function draw(plan_id) {
  show("draw");
  await sitting.begin(plan_id);
}

async function start() {
  await Promise.all([loadSigns(find("signs")), tablet.open()]);
  const screen = new Screen(find, tablet);
  children = new Children(find, { tablet, screen, chosen: draw });
  sitting = new Sitting({ tablet, screen, find, left: () => refetch() });
  calibrating = new Calibrating(find, {
    kept: async (calibration) => {
      await tablet.keepCalibration(calibration);
      await refetch();
    },
    skipped: () => refetch(),
  });
  find("pair-form").addEventListener("submit", pair);
  find("pair-back").addEventListener("click", () => showChildren());
  find("go-pair").addEventListener("click", () => showPair());
  find("go-calibrate").addEventListener("click", showCalibrate);
  find("go-fetch").addEventListener("click", refetch);
  addEventListener("resize", () => current === "children" && children.show());
  const code = scannedCode();
  if (code || tablet.pairing === null) showPair("", code);
  else await refetch();
}

start();
