import assert from "node:assert/strict";
import { test } from "node:test";

import {
  bounds, corners, distanceToLine, isRegionName, lineAlong, lineWidthPx, movedTo, nextName, parsedRegion, placeText, polygonOf,
  rectangleBetween, regionAt, regionText, renamed, simplified, squareAround,
} from "../static/picture/region_text.js";
import { drawn } from "./drawn.js";

const SENSOR = { width: 1456, height: 1088 };

test("all forms of the command line are read and written back", () => {
  for (const text of ["tip:10,20,30,40", "base flap:polygon:1,1,9,1,5,9", "vessel:line:5,1,1,9,9,20,9"]) assert.equal(regionText(parsedRegion(text)), text);
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

test("a finger means a line only along it", () => {
  const texts = ["v:line:9,100,100,400,400"];
  assert.equal(regionAt(texts, { x: 255, y: 245 }, 10), texts[0]);
  assert.equal(regionAt(texts, { x: 350, y: 150 }, 10), null);
  assert.deepEqual(bounds(parsedRegion("v:line:10,100,100,400,100")), { left: 95, top: 95, right: 405, bottom: 105 });
});

test("a line is three millimetres wide where the scale is known, and an odd number of pixels", () => {
  assert.equal(lineWidthPx(1456, 0.1), 31);
  assert.equal(lineWidthPx(1456, null), 13);
  assert.equal(lineWidthPx(64, 100), 3);
});

test("moving keeps the shape, and the region inside the sensor", () => {
  drawn(300, (draw) => {
    const point = () => ({ x: draw.whole(0, 1455), y: draw.whole(0, 1087) });
    const points = [point(), point(), point()];
    const made = [rectangleBetween("a", point(), point()), polygonOf("a", points), lineAlong("a", points, 1)][draw.whole(0, 2)];
    assert.ok(made !== undefined);
    const moved = movedTo(made, point(), SENSOR);
    const [from, to] = [corners(made), corners(moved)];
    assert.ok(from[0] !== undefined && to[0] !== undefined);
    const [dx, dy] = [to[0].x - from[0].x, to[0].y - from[0].y];
    from.forEach((corner, index) => assert.deepEqual(to[index], { x: corner.x + dx, y: corner.y + dy }));
    const box = bounds(moved);
    assert.ok(box.left >= -1 && box.top >= -1 && box.right <= 1457 && box.bottom <= 1089, JSON.stringify([made, moved]));
    assert.ok(Number.isInteger(dx) && Number.isInteger(dy));
  });
});

test("a path drawn by a finger keeps its shape in few points", () => {
  drawn(200, (draw) => {
    const path = [{ x: 0, y: 0 }];
    for (let step = 0; step < draw.whole(1, 80); step += 1) path.push({ x: (path.at(-1)?.x ?? 0) + draw.number(-5, 20), y: (path.at(-1)?.y ?? 0) + draw.number(-15, 15) });
    const few = simplified(path, 4);
    assert.ok(few.length <= path.length);
    assert.deepEqual([few[0], few.at(-1)], [path[0], path.at(-1)]);
    for (const point of path) assert.ok(distanceToLine(few, point) <= 4 + 1e-9);
  });
  assert.equal(simplified([0, 1, 2, 3, 4].map((x) => ({ x, y: 2 * x })), 0.1).length, 2);
});

test("a place is the region without its name", () => {
  for (const text of ["1,2,3,4", "polygon:1,1,9,1,5,9", "line:5,1,1,9,9"]) assert.equal(placeText(parsedRegion(`tip:${text}`)), text);
});

test("names", () => {
  assert.equal(nextName(["Reference", "A", "C"]), "B");
  assert.equal(nextName([..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"]), "A2");
  for (const good of ["A", "Größe 2", "tip.left-1"]) assert.ok(isRegionName(good), good);
  for (const bad of ["", " a", "a:b", "a,b", "<b>", "x".repeat(41)]) assert.ok(!isRegionName(bad), bad);
});
