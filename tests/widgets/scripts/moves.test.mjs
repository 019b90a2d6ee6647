// What a hand's move means in numbers, without a browser: node --test
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

const widgets = new URL("../../../optics/widgets/", import.meta.url);
const source = ["controls.js", "focimeter/moves.js"].map((name) => readFileSync(new URL(name, widgets), "utf8")).join("");
const moves = await import(`data:text/javascript,${encodeURIComponent(`${source}\nexport { signed };`)}`);
const made = { stage_near_mm: 10, stage_far_mm: 55, stage_height_mm: 20 };

test("the axis wheel has no end, and never stands at 0", () => {
  for (const [turned, shows] of [[181, 1], [0, 180], [-4, 176], [180, 180], [365, 5], [14.6, 15]]) {
    assert.equal(moves.wholeWheel(turned), shows);
  }
});

test("a control stops at its ends, on its own step", () => {
  const ends = { min: -25, max: 25, grain: 0.01 };
  assert.equal(moves.settled(ends, 25.4), 25);
  assert.equal(moves.settled(ends, -99), -25);
  assert.equal(moves.settled(ends, 0.1 + 0.2), 0.3);
  assert.equal(moves.settled({ endless: true }, 183), 3);
});

test("keys", () => {
  const ends = { min: -5, max: 5, step: 0.25, page: 1 };
  const keys = { ArrowRight: 1.25, ArrowUp: 1.25, ArrowLeft: 0.75, ArrowDown: 0.75, PageUp: 2, PageDown: 0, Home: -5, End: 5, a: null };
  for (const [key, to] of Object.entries(keys)) assert.equal(moves.byKey(key, ends, 1), to, key);
});

test("a hand on the ring turns it the way it goes, also past the left", () => {
  assert.equal(Math.round(moves.angleAt(0, -10)), 90); // up on the page
  assert.equal(moves.turnedBy(10, 25), 15);
  assert.equal(moves.turnedBy(170, -170), 20);
  assert.equal(moves.turnedBy(-170, 170), -20);
});

test("the pair dragged right brings the stop left on it, the other way when turned over", () => {
  const from = { lens: "R", x: -31, y: 1, against: "back" };
  assert.deepEqual(moves.dragged(from, 2, 0, made), { x: -33, y: 1, other: false });
  assert.deepEqual(moves.dragged({ ...from, against: "front" }, 2, 0, made), { x: -29, y: 1, other: false });
  assert.deepEqual(moves.dragged(from, 0, 3, made), { x: -31, y: -2, other: false });
});

test("the stage ends where Python says", () => {
  const from = { lens: "L", x: 31, y: 0, against: "back" };
  assert.deepEqual(moves.dragged(from, -99, -99, made), { x: 55, y: 20, other: false });
  assert.equal(moves.dragged(from, 25, 0, made).x, 10);
  assert.equal(moves.dragged(from, 25, 0, made).other, false);
  assert.equal(moves.dragged(from, 27, 0, made).other, true); // across the bridge
});

test("base words for the eye before you: the nose of a right lens lies to the operator's right", () => {
  assert.equal(moves.baseWords(0, "R", "back"), "in");
  assert.equal(moves.baseWords(180, "R", "back"), "out");
  assert.equal(moves.baseWords(0, "L", "back"), "out");
  assert.equal(moves.baseWords(0, "R", "front"), "out");
  assert.equal(moves.baseWords(90, "L", "back"), "up");
  assert.equal(moves.baseWords(225, "L", "back"), "down and in");
});

test("repeats stand together with mean and spread; another lens, line set or side stands apart", () => {
  const one = { eye: "R", against: "back", lines: "sphere", drum: -2.25, wheel: 15 };
  const groups = moves.repeated([one, { ...one, lines: "cylinder", drum: -3 }, { ...one, drum: -2.31 }, { ...one, eye: "L" }, { ...one, against: "front" }]);
  assert.deepEqual(groups.map((group) => group.drums), [[-2.25, -2.31], [-3], [-2.25], [-2.25]]);
  assert.ok(Math.abs(groups[0].mean + 2.28) < 1e-12);
  assert.ok(Math.abs(groups[0].spread - 0.06) < 1e-12);
});

test("readings as a table", () => {
  const table = moves.asTable([{ eye: "R", against: "back", lines: "sphere", drum: -2.2, wheel: 15 }]);
  assert.equal(table, "lens,side against the stop,lines,drum (D),wheel (degrees)\nR,back,sphere lines,-2.20,15\n");
});

test("a number with its sign, and zero without", () => {
  assert.deepEqual([-2.25, 1.5, 0, -0.001].map((value) => moves.signed(value)), ["-2.25", "+1.50", "0.00", "0.00"]);
});
