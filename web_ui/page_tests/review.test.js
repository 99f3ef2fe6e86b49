import assert from "node:assert/strict";
import { test } from "node:test";

import "./english.js";
import { cautionWords } from "../static/review/caution_words.js";
import { toldEvents } from "../static/review/event_words.js";
import { figureText, mapValueText, unitWord } from "../static/review/figure_words.js";
import { NewestWins } from "../static/review/newest_wins.js";
import { measuredMaps, tellOfDye } from "../static/review/measured_maps.js";
import { isOfTheseMarks, nextStep } from "../static/review/next_step.js";
import { Playback } from "../static/review/playback.js";
import { recordingPath } from "../static/review/recording_path.js";

/** @param {Partial<import("../static/review/review_types.js").ReviewedRecording>} differs */
function review(differs) {
  return /** @type {import("../static/review/review_types.js").ReviewedRecording} */ ({
    name: "r", frames: 10, reference: null, regions: [], events: [], late_notes: [], has_maps: false, has_baseline: true, rehearsed: false,
    complete: true, gaps: 0, calibration: "commissioned", unknown: [], injected_at_s: 5, ...differs,
  });
}

/** @param {...string} regions */
function analysis(...regions) {
  return /** @type {import("../static/review/review_types.js").KeptAnalysis} */ (/** @type {unknown} */ ({
    curves: regions.map((region) => ({ name: region, region, values: [], u: [] })),
  }));
}

const job = { number: 1, recording: "r", maps: false, done: 0.2, finished: false, stopped: false, error: "" };
const seen = (/** @type {string} */ region) => ({ region, seen_at_s: 0 });

test("maps that hold no more than what was there before the dye tell nothing of it", () => {
  const map = (/** @type {string} */ name, /** @type {number} */ measured_share) => ({ name, unit: "s", low: 0, high: 1, step: 1, measured_share, notes: [] });
  const maps = { maps: [map("baseline_counts_per_ms", 0.9), map("arrival_s", 0)], reference: "", injected: true, motion_followed: true };
  assert.equal(tellOfDye(maps), false);
  assert.deepEqual(measuredMaps(maps).map(({ name }) => name), ["baseline_counts_per_ms"]);
  assert.equal(tellOfDye({ ...maps, maps: [...maps.maps, map("peak_relative_percent", 0.1)] }), true);
});

test("the next step leads from nothing to maps", () => {
  assert.equal(nextStep(review({ frames: 0 }), null, null), "nothing");
  assert.equal(nextStep(review({}), null, null), "touch", "nothing is known that could be analysed");
  assert.equal(nextStep(review({ rehearsed: true }), null, null), "reference");
  const marked = review({ reference: seen("base:1,1,5,5"), regions: [seen("tip:9,9,5,5")] });
  assert.equal(nextStep(marked, null, null), "analyse");
  assert.equal(nextStep(marked, null, job), "running");
  assert.equal(nextStep(marked, analysis("base:1,1,5,5"), { ...job, finished: true }), "again");
  assert.equal(nextStep(marked, analysis("base:1,1,5,5", "tip:9,9,5,5"), null), "maps");
  assert.equal(nextStep({ ...marked, has_maps: true }, analysis("base:1,1,5,5", "tip:9,9,5,5"), null), "done");
});

test("an analysis is of these marks, or of others", () => {
  const marked = review({ reference: seen("base:1,1,5,5"), regions: [seen("tip:9,9,5,5")] });
  assert.ok(!isOfTheseMarks(marked, analysis("base:1,1,5,5", "tip:9,9,5,5", "edge:3,3,5,5")), "a region was taken away");
  assert.ok(!isOfTheseMarks(marked, analysis("base:1,1,5,5", "tip:9,9,6,6")), "a region was moved");
  assert.ok(isOfTheseMarks(review({}), analysis("base:1,1,5,5")), "nothing was marked: the device chose");
});

test("a recording plays at its own time or four times that, and stops at its end", () => {
  const playback = new Playback(10);
  playback.play(1000);
  assert.equal(playback.look(2500), 1.5);
  playback.setSpeed(2500, 4);
  assert.equal(playback.look(3500), 5.5);
  playback.go(3500, 2);
  assert.equal(playback.look(3750), 3);
  playback.pause(3750);
  assert.equal(playback.look(9000), 3);
  playback.play(9000);
  assert.equal(playback.look(19000), 10);
  assert.ok(!playback.playing);
  playback.play(20000);
  assert.equal(playback.look(20000), 0, "from the beginning again");
  playback.go(20000, 99);
  assert.equal(playback.at_s, 10);
});

test("of what is asked for meanwhile only the newest is fetched, one at a time", async () => {
  /** @type {number[]} */
  const fetched = [];
  /** @type {(() => void)[]} */
  const ends = [];
  const fetching = new NewestWins((/** @type {number} */ asked) => {
    fetched.push(asked);
    return new Promise((resolve) => ends.push(() => resolve(undefined)));
  });
  for (const one of [1, 2, 3, 4]) fetching.ask(one);
  assert.deepEqual(fetched, [1]);
  ends.shift()?.();
  await new Promise(setImmediate);
  assert.deepEqual(fetched, [1, 4]);
  fetching.ask(5);
  fetching.forget();
  ends.shift()?.();
  await new Promise(setImmediate);
  assert.deepEqual(fetched, [1, 4]);
});

test("what happened is told in words and in order, and an injection taken back is not", () => {
  const told = toldEvents(review({
    events: [
      { kind: "injection", at_s: 5, text: "" },
      { kind: "injection undone", at_s: 6, text: "" },
      { kind: "injection", at_s: 7, text: "2.5" },
      { kind: "light", at_s: 0, text: "60" },
      { kind: "light", at_s: 3, text: "60" },
      { kind: "light", at_s: 9, text: "0" },
      { kind: "region", at_s: 1, text: "tip" },
      { kind: "gap", at_s: 8, text: "3" },
    ],
    late_notes: [{ at_s: 4, text: "<b>quay</b>", said_at: "" }],
  }));
  assert.deepEqual(told.map(({ at_s, text }) => [at_s, text]), [
    [0, "Light 60\u00a0%"], [4, "<b>quay</b>"], [7, "Dye in, 2.5\u00a0mg"], [8, "Frames lost: 3"], [9, "Light off"],
  ]);
});

test("figures and map values say their uncertainty, or why there is none", () => {
  assert.equal(figureText({ key: "arrival_s", unit: "s", value: 11.23, u: 0.41 }), "11.2\u00a0±\u00a00.4\u00a0s");
  assert.equal(figureText({ key: "arrival_s", unit: "s", value: null, u: null }), "not known");
  assert.equal(mapValueText({ value: 11.23, u: 0.41, unit: "s", standing: "measured" }), "11.2\u00a0±\u00a00.4\u00a0s");
  assert.equal(mapValueText({ value: null, u: null, unit: "s", standing: "uncertain" }), "uncertain");
});

test("a recording's address leads nowhere else", () => {
  assert.equal(recordingPath("../x", "maps", "a b.png"), "/recordings/..%2Fx/maps/a%20b.png");
});

test("a unit of the device is said in the page's language", () => {
  assert.equal(figureText({ key: "baseline_counts_per_ms", value: 4, u: 0.5, unit: "counts/ms" }), "4.0\u00a0±\u00a00.5\u00a0counts/ms");
  assert.equal(unitWord("counts/ms"), "counts/ms");
  assert.equal(unitWord("%/s"), "%/s");
});

test("what leaks is taken off a moment where frames before the dye are known, and it is said where they are not", () => {
  const said = (/** @type {Parameters<typeof review>[0]} */ differs) => cautionWords(review(differs), null).join(" ");
  assert.doesNotMatch(said({}), /leaks/);
  assert.match(said({ has_baseline: false }), /what leaks through is not taken off the percentages/);
  assert.match(said({ has_baseline: false, injected_at_s: null }), /values of one moment hold what leaks through too/);
});
