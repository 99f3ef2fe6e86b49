import assert from "node:assert/strict";
import { test } from "node:test";

import "./english.js";
import { Freshness, isLive, notLiveText, STALE_AFTER_MS } from "../static/picture/freshness.js";

/** Two clocks turned by hand. */
function clocks() {
  const now = { steady: 1000, wall: 50_000 };
  return { now, freshness: new Freshness(() => now.steady, () => now.wall) };
}

test("age is the server's age and the time since it arrived", () => {
  const { now, freshness } = clocks();
  assert.equal(freshness.ageMs(), null);
  const received = freshness.stamp();
  now.steady += 30;
  now.wall += 30;
  freshness.drawn(12, received);
  assert.equal(freshness.ageMs(), 42);
});

test("a tablet whose steady clock slept does not take an old picture for live", () => {
  const { now, freshness } = clocks();
  freshness.drawn(10, freshness.stamp());
  now.wall += 60_000;
  assert.equal(isLive(freshness.ageMs(), true), false);
});

test("a wall clock that is set back does not make a picture young", () => {
  const { now, freshness } = clocks();
  freshness.drawn(10, freshness.stamp());
  now.steady += 800;
  now.wall -= 3_600_000;
  assert.equal(freshness.ageMs(), 810);
});

test("live is at most half a second old, and connected", () => {
  assert.equal(STALE_AFTER_MS, 500);
  assert.equal(isLive(500, true), true);
  assert.equal(isLive(501, true), false);
  assert.equal(isLive(10, false), false);
  assert.equal(isLive(null, true), false);
});

test("the band says how old", () => {
  assert.equal(notLiveText(501), "NOT LIVE, 1\u00a0s old");
  assert.equal(notLiveText(3999), "NOT LIVE, 3\u00a0s old");
  assert.equal(notLiveText(125_000), "NOT LIVE, 2\u00a0min old");
  assert.equal(notLiveText(null), "NOT LIVE, no picture yet");
});
