// The parts of the page's scripts that need no browser: run by python tasks.py scripts, or node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { jobOf, standOn } from "../../src/axlewright/web/static/js/outbox.js";
import { hiddenSides } from "../../src/axlewright/web/static/js/sideways.js";
import { stepped } from "../../src/axlewright/web/static/js/steps.js";
import { withUnit } from "../../src/axlewright/web/static/js/units.js";
import { _, fillIn, plural } from "../../src/axlewright/web/static/js/words.js";

const entry = (action, head) => ({ action, parts: [["token", "t"], ["head", head], ["note", "x"]] });

test("what is hidden at a side is told", () => {
  const strip = { clientWidth: 390, scrollWidth: 1500, scrollLeft: 0 };
  assert.deepEqual(hiddenSides(strip), { left: false, right: true });
  assert.deepEqual(hiddenSides({ ...strip, scrollLeft: 400 }), { left: true, right: true });
  assert.deepEqual(hiddenSides({ ...strip, scrollLeft: 1110 }), { left: true, right: false });
  assert.deepEqual(hiddenSides({ clientWidth: 390, scrollWidth: 390, scrollLeft: 0 }), { left: false, right: false });
});

test("the other unit is put behind what was typed, and taken away again", () => {
  assert.equal(withUnit("31.72", "mm", true), "31.72 mm");
  assert.equal(withUnit("31,72", "mm", true), "31,72 mm");
  assert.equal(withUnit("31.72 31.73\n31.74", "mm", true), "31.72 31.73\n31.74 mm");
  assert.equal(withUnit("31.72 mm", "mm", true), "31.72 mm");
  assert.equal(withUnit("31.72 mm", "mm", false), "31.72");
  assert.equal(withUnit("", "mm", true), "");
  assert.equal(withUnit("5 thou", "mm", true), "5 thou", "a unit that was typed stays");
  assert.equal(withUnit("2.2", "N·m", true), "2.2 N·m");
});

test("a form belongs to the job in its address", () => {
  assert.equal(jobOf("http://127.0.0.1:8420/jobs/12/steps/depth"), "/jobs/12");
  assert.equal(jobOf("/jobs/1"), "/jobs/1");
  assert.equal(jobOf("http://127.0.0.1:8420/settings/stock"), "");
  assert.equal(jobOf("http://127.0.0.1:8420/jobs/new"), "");
});

test("entries kept on one state follow each other", () => {
  const first = entry("http://b/jobs/1/steps/fits", "A");
  const second = entry("http://b/jobs/1/steps/depth", "A");
  const third = entry("http://b/jobs/1/steps/preload", "A");
  assert.deepEqual(standOn([second, third], first, "B"), [second, third]);
  assert.equal(second.parts[1][1], "B");
  assert.deepEqual(standOn([third], second, "C"), [third]);
  assert.equal(third.parts[1][1], "C");
});

test("an entry on another state or for another job is left for the bench to ask about", () => {
  const first = entry("http://b/jobs/1/steps/fits", "A");
  const other = entry("http://b/jobs/12/steps/fits", "A");
  const older = entry("http://b/jobs/1/steps/depth", "Z");
  assert.deepEqual(standOn([other, older], first, "B"), []);
  assert.equal(other.parts[1][1], "A");
  assert.equal(older.parts[1][1], "Z");
});

test("without a state told nothing changes", () => {
  const first = entry("http://b/jobs/1/steps/fits", "A");
  const second = entry("http://b/jobs/1/steps/depth", "A");
  assert.deepEqual(standOn([second], first, ""), []);
  assert.deepEqual(standOn([second], { action: first.action, parts: [] }, "B"), []);
  assert.equal(second.parts[1][1], "A");
});

test("steps end on whole steps and within reach", () => {
  const reach = { step: 0.01, low: -0.5, high: 0.5 };
  assert.equal(stepped(0, 1, reach), "0.01");
  assert.equal(stepped(0.29, 1, reach), "0.3");
  assert.equal(stepped(0.07, -1, reach), "0.06");
  assert.equal(stepped(0.0254, 1, reach), "0.03");
  assert.equal(stepped(0.0254, -1, reach), "0.02");
  assert.equal(stepped(0.5, 1, reach), "0.5");
  assert.equal(stepped(-0.5, -1, reach), "-0.5");
  assert.equal(stepped(NaN, 1, reach), "0.01");
  let value = "0";
  for (let k = 0; k < 50; k++) value = stepped(Number(value), 1, reach);
  assert.equal(value, "0.5");
});

test("messages without a translation stay as they are", () => {
  assert.equal(_("Throw it away"), "Throw it away");
  assert.equal(fillIn("{a} of {b}, {c}", { a: 1, b: "two" }), "1 of two, {c}");
  assert.equal(plural("{count} tooth", "{count} teeth", 1), "1 tooth");
  assert.equal(plural("{count} tooth", "{count} teeth", 0), "0 teeth");
});
