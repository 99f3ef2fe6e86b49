import assert from "node:assert/strict";
import { test } from "node:test";

import { GrowingCurves } from "../static/live/growing_curves.js";
import { drawn } from "./drawn.js";

const SKIN = "Reference:1,1,9,9";
const TIP = "Tip:20,1,9,9";
const WANTED = [{ name: "Reference", region: SKIN }, { name: "Tip", region: TIP }];

/**
 * @param {number} ms
 * @param {number | null} skin
 * @param {number | null} tip
 * @returns {any} as much of a picture's header as the curves read
 */
function picture(ms, skin, tip) {
  const value = (/** @type {string} */ region, /** @type {number | null} */ signal) => ({ region, name: "", percent: null, percent_u: null, flag: "", signal, signal_u: signal === null ? null : 0.01, baseline: 0.5, baseline_u: 0 });
  return { sensor_time_ns: ms * 1e6, reference: value(SKIN, skin), values: [value(TIP, tip)] };
}

/** @param {number[]} times @param {number} [first] */
function answer(times, first = 1) {
  const signal = times.map((_, index) => first + index);
  return { times_ms: times, curves: [{ place: "1,1,9,9", signal, signal_u: signal.map(() => 0.01), baseline: 0.5, baseline_u: 0 }], injections_ms: [], more: false };
}

test("pictures add five points a second, and darkness one", () => {
  const curves = new GrowingCurves();
  curves.seenMs = 1000;
  for (let ms = 1033; ms < 3000; ms += 33) curves.add(picture(ms, 2, 1));
  assert.ok(curves.times_ms.length >= 8 && curves.times_ms.length <= 10, String(curves.times_ms.length));
  const lit = curves.times_ms.length;
  for (let ms = 3000; ms < 9000; ms += 33) curves.add(picture(ms, null, null));
  assert.equal(curves.times_ms.length, lit + 1);
  assert.equal(curves.add(picture(9033, 2, 1)), "grown");
});

test("what was missed is asked for, and goes before what comes", () => {
  const curves = new GrowingCurves();
  assert.equal(curves.add(picture(5000, 2, 1)), "missed");
  curves.take(answer([1000, 1200, 1400]));
  curves.seenMs = 5000;
  assert.equal(curves.add(picture(5033, 2, 1)), "grown");
  assert.deepEqual(curves.times_ms, [1000, 1200, 1400, 5033]);
  curves.take(answer([1400, 5033, 5233], 7));
  assert.deepEqual(curves.times_ms, [1000, 1200, 1400, 5033, 5233]);
  assert.deepEqual(curves.rows.get("1,1,9,9")?.signal, [1, 2, 3, 2, 9]);
  assert.deepEqual(curves.rows.get("20,1,9,9")?.signal, [null, null, null, 1, null]);
  assert.equal(curves.add(picture(100, 2, 1)), "backwards");
});

test("percent of the reference's highest, what was there before taken off, uncertainties carried", () => {
  const curves = new GrowingCurves();
  curves.seenMs = 900;
  curves.add(picture(1000, 0.5, 0.5));
  curves.add(picture(1200, 2.5, 1.0));
  curves.add(picture(1400, 1.5, 1.5));
  const shown = curves.shown(WANTED, true, -Infinity, 1200);
  assert.ok(shown.inPercent);
  assert.deepEqual(shown.times_s, [-0.2, 0, 0.2]);
  assert.deepEqual(shown.series.map(({ values }) => values), [[0, 100, 50], [0, 25, 50]]);
  // by hand: u of 50 % is hypot(100 x 0.01 / 2, 50 x 0.01 / 2)
  const u = Math.hypot(0.5, 0.25);
  assert.ok(Math.abs((shown.series[1]?.high[2] ?? 0) - 50 - u) < 1e-9);
  assert.ok(Math.abs((shown.series[1]?.low[2] ?? 0) - 50 + u) < 1e-9);
});

test("nothing is a percentage before the reference stands clear of its noise", () => {
  const curves = new GrowingCurves();
  curves.seenMs = 900;
  curves.add(picture(1000, 0.55, 0.5));
  const shown = curves.shown(WANTED, true, -Infinity, 0);
  assert.ok(!shown.inPercent);
  assert.ok(Math.abs((shown.series[0]?.values[0] ?? 0) - 0.05) < 1e-12);
  assert.ok(!curves.shown(WANTED.slice(1), false, -Infinity, 0).inPercent);
});

test("every row is as long as time, and memory is bounded, whatever comes", () => {
  drawn(30, (draw) => {
    const curves = new GrowingCurves();
    let ms = 0;
    for (let turn = 0; turn < 400; turn += 1) {
      ms += draw.whole(1, 400);
      curves.seenMs = Math.max(curves.seenMs, ms - 100);
      if (draw.bool()) curves.add(picture(ms, draw.bool() ? 1 : null, draw.bool() ? 1 : null));
      else curves.take(answer([ms, ms + 1].slice(0, draw.whole(0, 2))));
    }
    for (const row of curves.rows.values()) assert.deepEqual([row.signal.length, row.u.length], [curves.times_ms.length, curves.times_ms.length]);
    assert.deepEqual(curves.times_ms, [...new Set(curves.times_ms)].sort((a, b) => a - b));
  });
  const long = new GrowingCurves();
  long.seenMs = 0;
  for (let ms = 200; ms < 200 * 20_000; ms += 200) long.add(picture(ms, 1, 1));
  assert.ok(long.times_ms.length <= 6000);
  assert.equal(long.times_ms[0], 200);
});

test("a long curve is drawn in few points, among them its ends, and scaled by all", () => {
  const curves = new GrowingCurves();
  curves.seenMs = 0;
  for (let turn = 1; turn <= 5000; turn += 1) curves.add(picture(turn * 200, turn === 3001 ? 9.5 : 1.5, 1));
  const shown = curves.shown(WANTED, true, -Infinity, 0, 800);
  assert.ok(shown.times_s.length <= 802 && shown.times_s.length > 600);
  assert.deepEqual([shown.times_s[0], shown.times_s.at(-1)], [0.2, 1000]);
  assert.ok(Math.abs((shown.series[0]?.values[0] ?? 0) - 100 / 9) < 1e-9);
  assert.equal(curves.shown(WANTED, true, -Infinity, 0).times_s.length, 5000);
});

test("what happened is what the device remembers, in place of what was known before", () => {
  const curves = new GrowingCurves();
  const note = { time_ms: 1200, kind: "note", text: "tip pale" };
  curves.take({ ...answer([1000, 1200]), happened: [note] });
  assert.deepEqual(curves.happened, [note]);
  curves.take(answer([1400]));
  assert.deepEqual(curves.happened, []);
});
