import assert from "node:assert/strict";
import { test } from "node:test";

import { RegionDrawing } from "../static/picture/region_drawing.js";
import { regionText } from "../static/picture/region_text.js";

const SHOWN = 1456;

/**
 * @param {"polygon" | "line"} shape
 * @param {[number, number][]} touches
 */
function touched(shape, touches) {
  const drawing = new RegionDrawing(shape, 13);
  for (const [x, y] of touches) drawing.touch({ x, y }, SHOWN);
  return drawing;
}

/** @param {RegionDrawing} drawing */
function text(drawing) {
  const region = drawing.region("A");
  return region && regionText(region);
}

test("corners make a polygon, and a touch near the first one closes it", () => {
  const drawing = touched("polygon", [[100, 100], [500, 100], [300, 400]]);
  assert.ok(drawing.complete && !drawing.done);
  drawing.touch({ x: 120, y: 90 }, SHOWN);
  assert.ok(drawing.done);
  assert.equal(text(drawing), "A:polygon:100,100,500,100,300,400");
});

test("closer in, a gloved finger is smaller on the sensor", () => {
  const drawing = touched("polygon", [[100, 100], [500, 100], [300, 400]]);
  drawing.touch({ x: 120, y: 90 }, SHOWN / 8);
  assert.ok(!drawing.done);
  assert.equal(drawing.points.length, 4);
});

test("two corners close nothing", () => {
  const drawing = touched("polygon", [[100, 100], [500, 100], [101, 101]]);
  assert.ok(!drawing.done && drawing.points.length === 3);
  assert.equal(text(touched("polygon", [[100, 100]])), null);
});

test("a line ends with a second touch at its end", () => {
  const drawing = touched("line", [[100, 100], [500, 120], [900, 100]]);
  assert.equal(text(drawing), "A:line:13,100,100,500,120,900,100");
  drawing.touch({ x: 905, y: 101 }, SHOWN);
  assert.ok(drawing.done);
  assert.equal(drawing.points.length, 3);
});

test("each touch and each stroke is taken back in turn", () => {
  const drawing = touched("line", [[100, 100]]);
  for (let x = 200; x <= 400; x += 10) drawing.follow({ x: 200, y: 200 }, { x, y: 200 + (x > 300 ? x - 300 : 0) }, x === 400, SHOWN);
  assert.equal(text(drawing), "A:line:13,100,100,200,200,300,200,400,300");
  drawing.undo();
  assert.equal(drawing.points.length, 1);
  drawing.undo();
  drawing.undo();
  assert.equal(drawing.points.length, 0);
});

test("an endless finger makes no more corners than the device takes", () => {
  const drawing = new RegionDrawing("polygon", 13);
  for (let turn = 0; turn < 400; turn += 1) drawing.touch({ x: (turn % 2) * 1000, y: (turn * 53) % 1088 }, SHOWN);
  assert.ok(drawing.points.length <= 200);
});
