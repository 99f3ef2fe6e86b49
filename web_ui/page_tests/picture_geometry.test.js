import assert from "node:assert/strict";
import { test } from "node:test";

import { aspect, copies, halfAt, sensorPoint } from "../static/picture/picture_geometry.js";

const WHOLE = { width: 1456, height: 1088, sideBySide: false };
const PAIR = { ...WHOLE, sideBySide: true };

test("a touch on the whole picture is its share of the sensor", () => {
  assert.deepEqual(sensorPoint(WHOLE, { x: 0, y: 0 }), { x: 0, y: 0 });
  assert.deepEqual(sensorPoint(WHOLE, { x: 0.5, y: 0.25 }), { x: 728, y: 272 });
  assert.deepEqual(sensorPoint(WHOLE, { x: 1, y: 1 }), { x: 1455, y: 1087 });
});

test("side by side, the same tissue is the same pixel in both halves", () => {
  assert.deepEqual(sensorPoint(PAIR, { x: 0.125, y: 0.5 }), { x: 364, y: 544 });
  assert.deepEqual(sensorPoint(PAIR, { x: 0.625, y: 0.5 }), { x: 364, y: 544 });
  assert.equal(halfAt(PAIR, { x: 0.49, y: 0 }), 0);
  assert.equal(halfAt(PAIR, { x: 0.5, y: 0 }), 1);
});

test("a drag across the middle stays in the half it began in", () => {
  assert.deepEqual(sensorPoint(PAIR, { x: 0.6, y: 0.5 }, 0), { x: 1455, y: 544 });
  assert.deepEqual(sensorPoint(PAIR, { x: 0.4, y: 0.5 }, 1), { x: 0, y: 544 });
});

test("points outside are pushed to the edge", () => {
  assert.deepEqual(sensorPoint(WHOLE, { x: -3, y: 7 }), { x: 0, y: 1087 });
});

test("the shown shape", () => {
  assert.equal(aspect(PAIR), 2 * aspect(WHOLE));
  assert.equal(copies(WHOLE).length, 1);
  assert.deepEqual(copies(PAIR).map(({ left }) => left), [0, 0.5]);
});
