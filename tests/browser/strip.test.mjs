import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { test } from "node:test";

import { lineOf } from "../../web/tablet/chips.mjs";
import { helpOf, isHelp } from "../../web/tablet/helping.mjs";
import { TICKS } from "../../web/tablet/seeing.mjs";
import { Strip } from "../../web/tablet/strip.mjs";
import { pageOf } from "./elements.mjs";

const ACTS = ["mark", "done", "again", "skip", "rest", "resume", "finish", "easier", "harder",
  "quiet", "leave", "close", "hand", "saw"];
const STATE = {
  title: "Swell", note: "", about: { name: "The last line: Swell", mark: null },
  can: ["again", "skip", "rest", "leave"], warning: "", hand_asked: "right", hand_used: null,
  seen: [], quiet: false, resting: false,
};

function stripWith(state = {}) {
  const page = pageOf("strip", {
    mark: ["ok", "helped", "spoilt", "stopped"], hand: ["left", "right", "both"],
  });
  const told = [];
  const strip = new Strip(page.find, Object.fromEntries(
    ACTS.map((name) => [name, (...rest) => told.push([name, ...rest])])));
  strip.show({ ...STATE, ...state });
  return { ...page, strip, told, press: (id) => page.find(`strip-${id}`).click() };
}

const nothing = {
  setup: false, cues: { verbal: 0, gesture: 0, demonstration: 0 }, physical: null,
  hand_over_hand: false,
};

test("help holds only what was said", () => {
  assert.equal(helpOf(nothing), undefined);
  assert.deepEqual(helpOf({ ...nothing, setup: true }), { setup: true });
  const cues = { verbal: 2, gesture: 0, demonstration: 1 };
  assert.deepEqual(helpOf({ ...nothing, cues, physical: "none" }), { cues, physical: "none" });
});

test("setting up is no help, and neither is physical help of none", () => {
  assert.equal(isHelp(undefined), false);
  assert.equal(isHelp({ setup: true, physical: "none" }), false);
  assert.equal(isHelp({ physical: "minimal" }), true);
  assert.equal(isHelp({ hand_over_hand: true }), true);
  assert.equal(isHelp({ cues: { verbal: 1, gesture: 0, demonstration: 0 } }), true);
});

test("a few words become one line that the server takes", () => {
  assert.equal(lineOf("  the bell\n\trang\u0000 "), "the bell rang");
  assert.equal(lineOf("a".repeat(300)).length, 120);
});

test("every tick is a kind that the server knows", async () => {
  const source = await readFile(
    new URL("../../server/store_observations.py", import.meta.url), "utf8");
  const known = [...source.matchAll(/^ {4}"(\w+)": TICK,$/gm)].map(([, kind]) => kind);
  assert.deepEqual([...TICKS].sort(), known.sort());
});

test("one tap on a mark closes the strip and says no more than that", () => {
  const { strip, told, choice } = stripWith();
  choice("mark", "helped").click();
  assert.deepEqual(told, [["mark", "helped", {}]]);
  assert.equal(strip.open, false);
});

test("the hand is asked only where it is free, and goes with the mark", () => {
  assert.equal(stripWith().find("strip-hand").hidden, true);
  const { told, find, choice } = stripWith({ hand_asked: "free" });
  assert.equal(find("strip-hand").hidden, false);
  choice("hand", "left").click();
  assert.deepEqual(told, []);
  choice("mark", "ok").click();
  assert.deepEqual(told, [["mark", "ok", { hand_used: "left" }]]);
});

test("a hand that no mark carried is told after the act", () => {
  const { told, choice, press } = stripWith({ hand_asked: "free" });
  choice("hand", "both").click();
  press("again");
  assert.deepEqual(told, [["again"], ["hand", "both"]]);
});

test("help in detail goes along, and makes of OK what it is", () => {
  const { told, choice } = stripWith();
  choice("cue", "gesture+").click();
  choice("mark", "ok").click();
  const help = { cues: { verbal: 0, gesture: 1, demonstration: 0 } };
  assert.deepEqual(told, [["mark", "helped", { help }]]);
});

test("setting up alone stays OK, and a count never falls below none", () => {
  const { told, choice } = stripWith();
  choice("cue", "verbal−").click();
  choice("help", "setup").click();
  choice("mark", "ok").click();
  assert.deepEqual(told, [["mark", "ok", { help: { setup: true } }]]);
});

test("help that is added later keeps a trial spoilt", () => {
  const { told, choice, find } = stripWith({ about: { name: "Swell", mark: "spoilt" } });
  const keep = find("strip-help-more").children.at(-1);
  keep.click();
  assert.deepEqual(told, []);
  choice("physical", "total").click();
  keep.click();
  assert.deepEqual(told, [["mark", "spoilt", { help: { physical: "total" } }]]);
});

test("a reason is one tap; other asks for a few words", () => {
  const spoilt = stripWith();
  spoilt.choice("because", "another child touched the screen").click();
  assert.deepEqual(spoilt.told,
    [["mark", "spoilt", { why: "another child touched the screen" }]]);

  const { told, find } = stripWith();
  const [chips, words] = find("strip-stopped").children;
  const [label, keep] = words.children;
  assert.equal(words.hidden, true);
  chips.children.at(-1).click();
  assert.equal(words.hidden, false);
  label.children[0].value = " the bell rang ";
  keep.click();
  assert.deepEqual(told, [["mark", "stopped", { why: "the bell rang" }]]);
});

test("ticks are kept when the strip closes, each once, and may be undone until then", () => {
  const { told, choice, press } = stripWith({ seen: ["trunk_still"] });
  choice("saw", "distress").click();
  choice("saw", "thumb_up").click();
  choice("saw", "thumb_up").click();
  choice("saw", "trunk_still").click();
  press("close");
  assert.deepEqual(told, [["close"], ["saw", "distress"]]);
});

test("only what makes sense is offered", () => {
  const { find } = stripWith({ about: null, can: ["skip", "easier"] });
  assert.equal(find("strip-skip").hidden, false);
  assert.equal(find("strip-easier").hidden, false);
  for (const name of ["done", "again", "harder", "marks", "more", "resting"]) {
    assert.equal(find(`strip-${name}`).hidden, true, name);
  }
});

test("quiet is a switch that leaves the strip open", () => {
  const { strip, told, press } = stripWith({ quiet: true });
  press("quiet");
  press("quiet");
  assert.deepEqual(told, [["quiet", false], ["quiet", true]]);
  assert.equal(strip.open, true);
});

test("in a rest there are a reason, going on and the end", () => {
  const { strip, told, choice, find, press } = stripWith({ about: null, can: [], resting: true });
  assert.equal(find("strip-go-on").hidden, true);
  choice("why", "noise").click();
  press("resume");
  assert.deepEqual(told, [["resume", "noise"]]);
  strip.show({ ...STATE, about: null, resting: true });
  press("finish");
  assert.deepEqual(told[1], ["finish", null]);
});

test("a hand that was chosen is told, though the act opens the strip anew", () => {
  const { strip, told, press, choice } = stripWith({ hand_asked: "free" });
  strip.acts.skip = () => strip.show({ ...STATE, title: "Storage is full" });
  choice("hand", "left").click();
  press("skip");
  assert.deepEqual(told, [["hand", "left"]]);
});

test("a strip that the browser closed by itself carries on, once", () => {
  const { strip, told, press, find } = stripWith();
  strip.dialog.close();
  find("strip").fire("close");
  assert.deepEqual(told, [["close"]]);
  strip.show(STATE);
  press("again");
  find("strip").fire("close");
  assert.deepEqual(told, [["close"], ["again"]]);
});
