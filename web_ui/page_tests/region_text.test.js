import assert from "node:assert/strict";
import { test } from "node:test";

import {
  bounds, isRegionName, nextName, parsedRegion, rectangleBetween, regionAt, regionText, renamed, squareAround,
} from "../static/picture/region_text.js";

const SENSOR = { width: 1456, height: 1088 };

test("both forms of the command line are read and written back", () => {
  for (const text of ["tip:10,20,30,40", "base flap:polygon:1,1,9,1,5,9"]) assert.equal(regionText(parsedRegion(text)), text);
  assert.deepEqual(bounds(parsedRegion("a:polygon:1,1,9,1,5,9")), { left: 1, top: 1, right: 9, bottom: 9 });
  assert.equal(renamed("tip:10,20,30,40", "Edge"), "Edge:10,20,30,40");
});

test("a touch makes an odd square round the point, inside the picture", () => {
  const [x = 0, y = 0, width = 0, height = 0] = squareAround("R", { x: 700, y: 500 }, SENSOR).numbers;
  assert.equal(width, height);
  assert.equal(width % 2, 1);
  assert.equal(x + (width - 1) / 2, 700);
  assert.equal(y + (height - 1) / 2, 500);
  for (const corner of [{ x: 0, y: 0 }, { x: 1455, y: 1087 }]) {
    const box = bounds(squareAround("R", corner, SENSOR));
    assert.ok(box.left >= 0 && box.top >= 0 && box.right <= 1456 && box.bottom <= 1088);
  }
});

test("a drag in any direction makes the same rectangle", () => {
  const wanted = [10, 20, 31, 41];
  assert.deepEqual(rectangleBetween("A", { x: 10, y: 20 }, { x: 40, y: 60 }).numbers, wanted);
  assert.deepEqual(rectangleBetween("A", { x: 40, y: 20 }, { x: 10, y: 60 }).numbers, wanted);
});

test("a finger means the smallest region near it", () => {
  const texts = ["big:0,0,500,500", "small:100,100,20,20"];
  assert.equal(regionAt(texts, { x: 125, y: 110 }, 10), "small:100,100,20,20");
  assert.equal(regionAt(texts, { x: 300, y: 300 }, 10), "big:0,0,500,500");
  assert.equal(regionAt(texts, { x: 800, y: 800 }, 10), null);
});

test("names", () => {
  assert.equal(nextName(["Reference", "A", "C"]), "B");
  assert.equal(nextName([..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"]), "A2");
  for (const good of ["A", "Größe 2", "tip.left-1"]) assert.ok(isRegionName(good), good);
  for (const bad of ["", " a", "a:b", "a,b", "<b>", "x".repeat(41)]) assert.ok(!isRegionName(bad), bad);
});
