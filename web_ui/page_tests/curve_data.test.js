import assert from "node:assert/strict";
import { test } from "node:test";

import { appended, columns, curvesCsv, quoted, eventNear, valueAt } from "../static/charts/curve_data.js";
import { gatheredEvents } from "../static/charts/gathered_events.js";
import { decimalsFor, measuredText } from "../static/page/measured_text.js";
import { numberText } from "../static/page/number_text.js";
import { faint } from "../static/charts/curve_look.js";
import { fileName } from "../static/charts/saved_file.js";

const curves = () => ({
  times_s: [0, 0.5],
  series: [
    { name: "base", values: [1, 2], low: [0.5, 1.5], high: [1.5, 2.5] },
    { name: "tip", values: [null, 4] },
  ],
  events: [],
  unit: "%",
  xLabel: "time",
  yLabel: "level",
});

const header = (/** @type {string} */ id, /** @type {{name: string, unit: string}} */ { name, unit }) => `${name} ${id} (${unit})`;

test("a chart's columns are value and band of each curve, and a curve without a band is its own", () => {
  assert.deepEqual(columns(curves()), [[0, 0.5], [1, 2], [0.5, 1.5], [1.5, 2.5], [null, 4], [null, 4], [null, 4]]);
});

test("curves grow in step, and time only rises", () => {
  const grown = curves();
  appended(grown, 1, [{ value: 3, low: 2.5, high: 3.5 }, { value: null }]);
  assert.deepEqual(grown.times_s, [0, 0.5, 1]);
  assert.deepEqual(grown.series[0]?.high, [1.5, 2.5, 3.5]);
  assert.deepEqual(grown.series[1]?.values, [null, 4, null]);
  assert.throws(() => appended(grown, 1, [{ value: 3 }, { value: 3 }]), /does not rise/);
  assert.throws(() => appended(grown, 2, [{ value: 3 }]), /1 values for 2 curves/);
});

test("a value is read at the moment, or from its neighbour where a frame is missing", () => {
  const [base, tip] = curves().series;
  assert.ok(base && tip);
  assert.deepEqual(valueAt(base, 1), { value: 2, halfWidth: 0.5 });
  assert.deepEqual(valueAt(tip, 0), { value: 4, halfWidth: null });
  assert.equal(valueAt(tip, 0, 0), null);
  assert.equal(valueAt({ name: "none", values: [null] }, 0), null);
});

test("a table keeps every number and leaves the unknown empty", () => {
  assert.equal(
    curvesCsv(curves(), header),
    "time time (s),base value (%),base low (%),base high (%),tip value (%),tip low (%),tip high (%)\r\n0,1,0.5,1.5,,,\r\n0.5,2,1.5,2.5,4,,\r\n",
  );
});

test("names in a table are text, never a formula, and never break a row", () => {
  assert.equal(quoted("=1+1"), "'=1+1");
  assert.equal(quoted('a "b", c'), '"a ""b"", c"');
  assert.equal(quoted("@x\n"), '"\'@x\n"');
});

test("digits follow the uncertainty", () => {
  assert.deepEqual([0.38, 0.14, 2.6, 1.3, 25, 0.00012, 0, 0.096].map(decimalsFor), [1, 2, 0, 1, 0, 3, 2, 2]);
  assert.equal(measuredText(11.234, 0.38, "s"), "11.2\u00a0±\u00a00.4\u00a0s");
  assert.equal(measuredText(-0.04, 0.4, "%"), "0.0\u00a0±\u00a00.4\u00a0%");
  assert.equal(measuredText(88.1921, 0.005, "%"), "88.19\u00a0±\u00a00.01\u00a0%");
  assert.equal(measuredText(34.81, null, "%"), "35\u00a0%");
  assert.equal(numberText(-3, 0), "−3");
});

test("a file's name leads nowhere", () => {
  assert.equal(fileName("../../étape 1: <b>.png"), "e-tape-1-b-.png");
  assert.equal(fileName("///"), "file");
});

test("a faint colour keeps its hue", () => {
  assert.equal(faint("#56b4e9", 0.25), "rgb(86 180 233 / 0.25)");
});

test("marks of one kind that would lie on each other become one, others keep theirs", () => {
  const gap = (/** @type {number} */ at_s) => ({ at_s, kind: "gap", text: "1 frame" });
  const note = { at_s: 2.5, kind: "note", text: "here" };
  const found = gatheredEvents([gap(3), gap(1), note, gap(2), gap(9)], 2);
  assert.deepEqual(found, [
    { first: gap(1), last_s: 3, count: 3 },
    { first: note, last_s: 2.5, count: 1 },
    { first: gap(9), last_s: 9, count: 1 },
  ]);
});

test("a finger near what happened means the nearest of it", () => {
  const events = [{ at_s: 10, kind: "note", text: "a" }, { at_s: 12, kind: "light", text: "b" }];
  assert.equal(eventNear(events, 11.2, 1)?.text, "b");
  assert.equal(eventNear(events, 10.9, 1)?.text, "a");
  assert.equal(eventNear(events, 14, 1), null);
});
