import assert from "node:assert/strict";
import { test } from "node:test";

import { HOLD_MS, PictureTouches } from "../static/picture/picture_touches.js";

const HERE = { x: 100, y: 100 };
const NEAR = { x: 108, y: 95 };
const FAR = { x: 200, y: 160 };

test("down and up is a touch where the finger came down", () => {
  const touches = new PictureTouches();
  touches.down(HERE, 0);
  assert.equal(touches.move(NEAR).kind, "nothing");
  assert.deepEqual(touches.up(NEAR), { kind: "touch", at: HERE });
});

test("moving is a drag, and never a hold after that", () => {
  const touches = new PictureTouches();
  touches.down(HERE, 0);
  assert.deepEqual(touches.move(FAR), { kind: "drag", from: HERE, to: FAR, done: false });
  assert.equal(touches.rested(HOLD_MS).kind, "nothing");
  assert.deepEqual(touches.move(NEAR), { kind: "drag", from: HERE, to: NEAR, done: false });
  assert.deepEqual(touches.up(FAR), { kind: "drag", from: HERE, to: FAR, done: true });
});

test("resting is a hold, once, and no touch when the finger leaves", () => {
  const touches = new PictureTouches();
  touches.down(HERE, 1000);
  assert.equal(touches.rested(1000 + HOLD_MS - 1).kind, "nothing");
  assert.deepEqual(touches.rested(1000 + HOLD_MS), { kind: "hold", at: HERE });
  assert.equal(touches.rested(5000).kind, "nothing");
  assert.equal(touches.move(FAR).kind, "nothing");
  assert.equal(touches.up(FAR).kind, "nothing");
});

test("a finger taken away means nothing", () => {
  const touches = new PictureTouches();
  touches.down(HERE, 0);
  touches.cancel();
  assert.equal(touches.up(HERE).kind, "nothing");
});
