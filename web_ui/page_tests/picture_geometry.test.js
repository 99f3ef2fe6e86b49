import assert from "node:assert/strict";
import { test } from "node:test";

import { aspect, copies, halfAt, MOST_ZOOM, sensorPlace, sensorPoint, shownPoint, windowCloser, windowMoved, windowOf, windowUnder } from "../static/picture/picture_geometry.js";
import { drawn } from "./drawn.js";

const WHOLE = { width: 1456, height: 1088, sideBySide: false };
const HALVES = { ...WHOLE, sideBySide: true };

test("a touch is the pixel under it", () => {
  assert.deepEqual(sensorPoint(WHOLE, { x: 0, y: 0 }), { x: 0, y: 0 });
  assert.deepEqual(sensorPoint(WHOLE, { x: 0.5, y: 0.5 }), { x: 728, y: 544 });
  assert.deepEqual(sensorPoint(WHOLE, { x: 1, y: 1.2 }), { x: 1455, y: 1087 });
});

test("side by side, the same tissue has the same pixel in either half", () => {
  assert.deepEqual(sensorPoint(HALVES, { x: 0.1, y: 0.5 }), sensorPoint(HALVES, { x: 0.6, y: 0.5 }));
  assert.equal(halfAt(HALVES, { x: 0.5, y: 0 }), 1);
});

test("a drag that leaves its half ends at the half's edge", () => {
  assert.deepEqual(sensorPoint(HALVES, { x: 0.55, y: 0.5 }, 0), { x: 1455, y: 544 });
  assert.deepEqual(sensorPoint(HALVES, { x: 0.45, y: 0.5 }, 1), { x: 0, y: 544 });
});

test("shown width over height, and where the copies lie", () => {
  assert.equal(aspect(HALVES), 2 * aspect(WHOLE));
  assert.equal(copies(WHOLE).length, 1);
  assert.deepEqual(copies(HALVES)[1], { left: 0.5, width: 0.5 });
});

/** A shape, zoomed somewhere. @param {import("./drawn.js").Draw} draw */
function zoomedShape(draw) {
  const shape = { width: draw.whole(16, 4000), height: draw.whole(16, 4000), sideBySide: draw.bool() };
  const about = { x: draw.number(0, shape.width), y: draw.number(0, shape.height) };
  return { ...shape, window: draw.bool() ? null : windowCloser(shape, draw.number(1, 10), about) };
}

/** @param {import("../static/picture/picture_geometry.js").Shape} shape */
function fits(shape) {
  const { x, y, width, height } = windowOf(shape);
  const room = 1e-9 * Math.max(shape.width, shape.height);
  assert.ok(x >= 0 && y >= 0 && x + width <= shape.width + room && y + height <= shape.height + room, JSON.stringify(shape));
  assert.ok(Math.abs(width / height - shape.width / shape.height) < 1e-9, "the window has the sensor's own aspect");
  assert.ok(shape.width / width >= 1 - 1e-9 && shape.width / width <= MOST_ZOOM + 1e-9);
}

test("where a place is shown and the place under a point are inverse, whatever is shown", () => {
  drawn(500, (draw) => {
    const shape = zoomedShape(draw);
    const half = shape.sideBySide ? draw.whole(0, 1) : 0;
    const at = { x: shape.sideBySide ? (draw.number(0, 0.999) + half) / 2 : draw.number(0, 0.999), y: draw.number(0, 0.999) };
    const place = sensorPlace(shape, at);
    const back = shownPoint(shape, place, half);
    assert.ok(Math.hypot(back.x - at.x, back.y - at.y) < 1e-9, JSON.stringify([shape, at, back]));
    const pixel = sensorPoint(shape, at);
    assert.ok(pixel.x <= place.x && place.x < pixel.x + 1 && pixel.y <= place.y && place.y < pixel.y + 1);
  });
});

test("a pinch finds the window in which the held places lie under the fingers", () => {
  drawn(500, (draw) => {
    const shape = zoomedShape(draw);
    const half = shape.sideBySide ? draw.whole(0, 1) : 0;
    const finger = () => ({ x: shape.sideBySide ? (draw.number(0, 0.99) + half) / 2 : draw.number(0, 0.99), y: draw.number(0, 0.99) });
    /** @type {[import("../static/picture/picture_geometry.js").Point, import("../static/picture/picture_geometry.js").Point]} */
    const held = [sensorPlace(shape, finger(), half), sensorPlace(shape, finger(), half)];
    const wanted = windowCloser(shape, draw.number(0.2, 5), held[0]);
    const moved = { ...shape, window: wanted };
    const found = windowUnder(shape, held, [shownPoint(moved, held[0], half), shownPoint(moved, held[1], half)], half);
    for (const key of /** @type {const} */ (["x", "y", "width", "height"])) assert.ok(Math.abs(found[key] - wanted[key]) < 1e-6 * shape.width);
    fits({ ...shape, window: windowUnder(shape, held, [finger(), finger()], half) });
  });
});

test("closer keeps its place, and windows stay on the sensor", () => {
  drawn(500, (draw) => {
    const shape = zoomedShape(draw);
    const about = sensorPlace(shape, { x: draw.number(0, 1), y: draw.number(0, 1) }, 0);
    const window = windowCloser(shape, draw.number(0.1, 10), about);
    fits({ ...shape, window });
    fits({ ...shape, window: windowMoved({ ...shape, window }, draw.number(-5000, 5000), draw.number(-5000, 5000)) });
    const before = shownPoint(shape, about, 0);
    const after = shownPoint({ ...shape, window }, about, 0);
    const free = window.x > 0 && window.y > 0 && window.x + window.width < shape.width && window.y + window.height < shape.height;
    if (free) assert.ok(Math.hypot(before.x - after.x, before.y - after.y) < 1e-9);
  });
});
