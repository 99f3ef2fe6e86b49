/** @import { Commissioning, StepName } from "../static/commissioning/commissioning_types.js" */

import assert from "node:assert/strict";
import { test } from "node:test";

import "./english.js";
import { drawMark } from "../static/commissioning/curve_mark.js";
import { curveCsv, inOrder, isMap } from "../static/commissioning/curve_table.js";
import { isDilutionRow, numbersOf } from "../static/commissioning/numbers.js";
import { standing } from "../static/commissioning/step_list.js";
import { guideOf, NEEDED, STEPS } from "../static/commissioning/step_words.js";
import { SAY_EVERY_MS, WalkWatch } from "../static/commissioning/walk_watch.js";
import { daysBetween, whatNext } from "../static/commissioning/what_next.js";

const NOW = "2031-05-04T09:41:00Z";

/**
 * @param {Partial<Record<StepName, string>>} taken
 * @param {Partial<Commissioning>} differs
 * @returns {Commissioning}
 */
function known(taken, differs = {}) {
  const steps = STEPS.map((step) => ({ step, made_at: taken[step] ?? "", recording: "", needs: [], lights: step !== "dark", figures: [] }));
  const newest = Object.values(taken).sort().at(-1) ?? "";
  return { now: NOW, sensor: "a", steps, in_force: newest, newest, light_in_force: taken.light ?? "", proposal: null, calibrations: [], checks: [], paper: null, oldest_days: 180, trouble: "", ...differs };
}

/** @param {StepName[]} steps @param {string} at */
const all = (steps, at) => Object.fromEntries(steps.map((step) => [step, at]));
const YESTERDAY = "2031-05-03T09:00:00Z";
const check = { made_at: "2031-05-04T07:00:00Z", passed: true, items: [], calibrated_at: "" };

test("one thing comes next, and what results lean on comes first", () => {
  assert.equal(whatNext(known({}, { sensor: "" })).what, "replay");
  assert.deepEqual(whatNext(known({})), { what: "start", step: "dark", days: 0 });
  assert.deepEqual(whatNext(known({ dark: YESTERDAY, scale: YESTERDAY })), { what: "step", step: "defects", days: 0 });
  assert.deepEqual(whatNext(known({ ...all(NEEDED, YESTERDAY), flat: "2030-11-01T09:00:00Z" })), { what: "old", step: "flat", days: 184 });
  const outside = known(all(NEEDED, YESTERDAY));
  for (const one of outside.steps) if (one.step === "gain") one.figures = [{ figure: "PRNU", words: "3 %", limit: "at most 2", passed: false }];
  assert.deepEqual(whatNext(outside), { what: "failing", step: "gain", days: 0 });
  assert.equal(whatNext(known(all(NEEDED, YESTERDAY), { in_force: "2031-05-01T09:00:00Z" })).what, "force");
  assert.equal(whatNext(known(all(NEEDED, YESTERDAY), { light_in_force: "" })).what, "force");
  assert.deepEqual(whatNext(known(all(NEEDED, YESTERDAY))), { what: "step", step: "leakage", days: 0 });
});

test("then the check of the day, then what the certificate tells besides", () => {
  const ready = all([...NEEDED, "leakage"], YESTERDAY);
  assert.equal(whatNext(known(ready)).what, "check");
  assert.equal(whatNext(known(ready, { checks: [{ ...check, made_at: YESTERDAY }] })).what, "check", "yesterday's is no check of today");
  assert.equal(whatNext(known(ready, { checks: [{ ...check, passed: false }] })).what, "check failed");
  assert.deepEqual(whatNext(known(ready, { checks: [check] })), { what: "optional", step: "scale", days: 0 });
  assert.equal(whatNext(known(all(STEPS, YESTERDAY), { checks: [check] })).what, "ready");
});

test("a ring of one level has no light output, and nothing waits for it", () => {
  const without = (/** @type {Commissioning} */ full) => ({ ...full, steps: full.steps.filter(({ step }) => step !== "light") });
  assert.equal(whatNext(without(known({}))).what, "start");
  const taken = { ...all([...STEPS], YESTERDAY), light: "" };
  assert.equal(whatNext(without(known(taken, { checks: [check] }))).what, "ready");
  assert.deepEqual(standing(without(known({})), "light", null), { word: "", kind: "" });
});

test("a result that waits comes before everything", () => {
  const proposal = { step: /** @type {const} */ ("gain"), made_at: NOW, figures: [], before: [] };
  assert.deepEqual(whatNext(known({}, { proposal })), { what: "decide", step: "gain", days: 0 });
  assert.equal(standing(known({}, { proposal }), "gain", null).kind, "due");
});

test("how a step stands is said in words", () => {
  assert.deepEqual(standing(known({}), "dark", null), { word: "never taken", kind: "due" });
  assert.deepEqual(standing(known({ dark: YESTERDAY }), "dark", null), { word: "1 day ago", kind: "good" });
  assert.equal(standing(known({ dark: "2029-05-03T09:00:00Z" }), "dark", null).kind, "due");
  const running = { walk: /** @type {const} */ ("dark"), running: true, started_at: NOW, said: [], items: [], passed: false, error: "" };
  assert.equal(standing(known({}), "dark", running).kind, "runs");
  assert.equal(standing(known({}, { checks: [{ ...check, passed: false }] }), "check", null).kind, "bad");
});

test("days are whole, and a clock that went back makes none negative", () => {
  assert.equal(daysBetween("2031-05-03T10:00:00Z", NOW), 0);
  assert.equal(daysBetween("2031-05-03T09:00:00Z", NOW), 1);
  assert.equal(daysBetween("2032-05-03T09:00:00Z", NOW), 0);
});

test("numbers are read as people of every language of the page type them", () => {
  assert.deepEqual(numbersOf("0 0.05 0.1 0.2"), [0, 0.05, 0.1, 0.2]);
  assert.deepEqual(numbersOf("0; 0,05; 0,1"), [0, 0.05, 0.1]);
  assert.deepEqual(numbersOf("0, 0.05, 1e-3"), [0, 0.05, 0.001]);
  assert.deepEqual(numbersOf(" 250 "), [250]);
  for (const none of ["", "a", "1 2 x", "-1", "1.2.3", "1,000,000"]) assert.deepEqual(numbersOf(none), [], none);
});

test("a row that the device would refuse is not sent", () => {
  assert.ok(isDilutionRow([0, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1]));
  for (const none of [[], [0, 1], [1, 2, 3, 4, 5, 6, 7, 8], [0, 1, 1, 2, 3, 4, 5, 6], [0, 1, 2, 3, 4, 5, 6, 1e30]]) assert.ok(!isDilutionRow(none), String(none));
});

test("every walk has its guide, one line a thing to do", () => {
  for (const walk of /** @type {const} */ (["check", ...STEPS])) assert.ok(guideOf(walk).length >= 2, walk);
});

test("curves are drawn from left to right, and kept as tables", () => {
  const curve = { step: /** @type {const} */ ("defects"), x: [3, 1, 2], series: [{ name: /** @type {const} */ ("places"), values: [30, 10, null] }], columns: 0, mark: null };
  assert.deepEqual(inOrder(curve), [[1, 2, 3], [10, null, 30]]);
  assert.equal(curveCsv(curve), "x,places\n3,30\n1,10\n2,\n");
  const map = { step: /** @type {const} */ ("flat"), x: [1, 2, 3, 4], series: [], columns: 2, mark: null };
  assert.ok(isMap(map));
  assert.equal(curveCsv(map), "1,2\n3,4\n");
});

test("a walk is watched while the page is in sight, by the tablet that began it, and no longer than it runs", () => {
  let [said, inSight, ticks] = [0, true, /** @type {(() => void)[]} */ ([])];
  const watch = new WalkWatch({
    say: async () => void (said += 1),
    repeat: (run, ms) => {
      assert.equal(ms, SAY_EVERY_MS);
      ticks = [...ticks, run];
      return () => (ticks = ticks.filter((one) => one !== run));
    },
    inSight: () => inSight,
  });
  const tick = () => ticks.forEach((run) => run());
  const state = (/** @type {boolean} */ running, started_at = NOW) => /** @type {import("../static/page/device_state.js").DeviceState} */ (/** @type {unknown} */ ({ walk: { running, started_at } }));
  watch.heard(state(true));
  tick();
  assert.equal(said, 0, "another tablet's walk is not this one's to keep going");
  watch.begun(NOW);
  watch.begun(NOW);
  watch.heard(state(false, YESTERDAY));
  tick();
  assert.equal(said, 1, "what was on its way since before it began tells nothing");
  watch.heard(state(true));
  inSight = false;
  tick();
  assert.equal(said, 1, "nobody looks at a page that is not in sight");
  inSight = true;
  watch.heard(null);
  tick();
  assert.equal(said, 2, "what is not known has not ended");
  watch.heard(state(true, YESTERDAY));
  assert.equal(ticks.length, 0, "the next one may be another tablet's");
  watch.begun(NOW);
  watch.heard(state(false));
  assert.equal(ticks.length, 0);
});

test("the word of a mark is whole: on the side that has room, whatever was written before", () => {
  /** @type {[string, string, number][]} */
  const written = [];
  const paper = {
    textAlign: "right", save() {}, restore() {}, setLineDash() {}, beginPath() {}, moveTo() {}, lineTo() {}, stroke() {},
    measureText: () => ({ width: 200 }),
    fillText(/** @type {string} */ text, /** @type {number} */ x) { written.push([text, this.textAlign, x]); },
  };
  const marked = (/** @type {number} */ mark, /** @type {StepName} */ step) => {
    const plot = { bbox: { left: 100, top: 0, width: 500, height: 300 }, ctx: paper, valToPos: (/** @type {number} */ x) => 100 + 500 * x };
    drawMark(/** @type {any} */ (plot), /** @type {any} */ ({ step, mark }), "white");
  };
  marked(0.000362, "sensitivity");
  marked(0.92, "sharpness");
  marked(1.2, "sharpness");
  assert.deepEqual(written, [["limit of detection 0.000362", "left", 106.181], ["MTF50 0.920", "right", 554]]);
});
