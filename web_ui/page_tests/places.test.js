import assert from "node:assert/strict";
import { test } from "node:test";

import "./english.js";
import { labelPlaces, leader } from "../static/picture/label_places.js";
import { dot, stripe } from "../static/picture/legend_marks.js";
import { contourWords, legendTicks, percentColour } from "../static/picture/legend_scale.js";

const ROOM = { left: 0, width: 800, height: 600 };

/**
 * @param {number} left
 * @param {number} top
 */
function label(left, top) {
  return { box: { left, top, right: left + 60, bottom: top + 60 }, width: 180, height: 40 };
}

test("a value stands right of its region, left where the edge is near", () => {
  const [right, left] = labelPlaces([label(100, 100), label(720, 300)], ROOM);
  assert.deepEqual(right, { x: 166, y: 110 });
  assert.deepEqual(left, { x: 720 - 6 - 180, y: 310 });
});

test("values stay inside and off one another, however regions lie", () => {
  const labels = [label(100, 100), label(180, 100), label(110, 130), label(0, 0), label(740, 540)];
  const places = labelPlaces(labels, ROOM);
  places.forEach(({ x, y }, one) => {
    assert.ok(x >= 0 && y >= 0 && x + 180 <= 800 && y + 40 <= 600);
    places.slice(one + 1).forEach((other) => assert.ok(Math.abs(other.x - x) >= 180 || Math.abs(other.y - y) >= 40));
  });
});

test("a value that stands far off has a line to its region, one beside it has none", () => {
  const wanted = label(100, 100);
  assert.equal(leader(wanted, { x: 166, y: 110 }), null);
  assert.deepEqual(leader(wanted, { x: 140, y: 260 }), [{ x: 140, y: 160 }, { x: 140, y: 260 }]);
});

test("twelve regions in half a picture keep their values apart", () => {
  const labels = Array.from({ length: 12 }, (_, n) => ({ ...label(60 + 25 * (n % 4), 90 + 30 * Math.floor(n / 4)), width: 140 }));
  const places = labelPlaces(labels, { left: 0, width: 428, height: 400 });
  places.forEach(({ x, y }, one) => {
    assert.ok(x >= 0 && y >= 0 && x + 140 <= 428 && y + 40 <= 400);
    places.slice(one + 1).forEach((other) => assert.ok(Math.abs(other.x - x) >= 140 || Math.abs(other.y - y) >= 40));
  });
});

test("side by side, values stay in their half", () => {
  const [place] = labelPlaces([label(410, 100)], { left: 400, width: 400, height: 600 });
  assert.ok(place && place.x >= 400);
});

test("the legend's ticks and words", () => {
  assert.deepEqual(legendTicks(120), [0, 20, 40, 60, 80, 100, 120]);
  assert.deepEqual(legendTicks(200), [0, 50, 100, 150, 200]);
  assert.equal(contourWords([20, 40]), "at 20, 40\u00a0%");
  assert.equal(contourWords([]), "no contours");
});

test("the scale is clear at its foot and the map itself above", () => {
  const map = { colours: [[0, 0, 0], [100, 0, 0], [200, 50, 25]], clear_percent: 4, covered_percent: 12 };
  assert.deepEqual(percentColour(map, 4, 120), [110, 110, 110]);
  assert.deepEqual(percentColour(map, 60, 120), [100, 0, 0]);
  assert.deepEqual(percentColour(map, 500, 120), [200, 50, 25]);
  assert.deepEqual(percentColour(map, 8, 120), [55, 55, 55]);
});

test("the marks differ in shape", () => {
  const stripes = [0, 1, 2, 3, 4, 5, 6, 7].map((column) => stripe(0, column));
  assert.deepEqual(stripes, [255, 255, 255, 255, 30, 30, 30, 30]);
  assert.equal(stripe(1, 3), 30);
  assert.deepEqual([dot(0, 0), dot(0, 1), dot(0, 2), dot(1, 0), dot(4, 4)], [165, 55, null, null, 165]);
});
