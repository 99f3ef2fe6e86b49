import assert from "node:assert/strict";
import { test } from "node:test";

import { LightHold, REPEAT_MS } from "../static/live/light_hold.js";

/** A network that answers when told to. */
function bench() {
  /** @type {{act: string, press: number, aborted: AbortSignal | null, answer: () => void, fail: (why: Error) => void}[]} */
  const sent = [];
  /** @type {(() => void) | null} */
  let tick = null;
  /** @type {unknown[]} */
  const failures = [];
  let [ended, unanswered] = [0, 0];
  const hold = new LightHold({
    send: (act, press, aborted) =>
      new Promise((resolve, reject) => {
        sent.push({ act, press, aborted, answer: () => resolve(), fail: reject });
        aborted?.addEventListener("abort", () => reject(new Error("aborted")));
      }),
    repeat: (run, ms) => {
      assert.equal(ms, REPEAT_MS);
      tick = run;
      return () => {
        tick = null;
      };
    },
    failed: (error) => failures.push(error),
    unanswered: () => (unanswered += 1),
    ended: () => (ended += 1),
  });
  return { hold, sent, failures, ended: () => ended, unanswered: () => unanswered, acts: () => sent.map(({ act }) => act), tick: () => tick?.(), ticking: () => tick !== null };
}

/** Lets promises that are settled run their followers. */
const settled = () => new Promise((resolve) => setImmediate(resolve));

test("on is said again and again while held, and off at once on release", async () => {
  const { hold, sent, acts, tick, ticking } = bench();
  hold.press();
  assert.deepEqual(acts(), ["on"]);
  sent[0]?.answer();
  await settled();
  tick();
  assert.deepEqual(acts(), ["on", "on"]);
  sent[1]?.answer();
  await settled();
  hold.release();
  assert.deepEqual(acts(), ["on", "on", "off"]);
  assert.equal(ticking(), false);
  sent[2]?.answer();
  await settled();
  assert.deepEqual(acts(), ["on", "on", "off"]);
});

test("all words of one press have its number, and the next press another", () => {
  const { hold, sent } = bench();
  hold.press();
  hold.release();
  hold.press();
  const [first, off, second] = sent.map(({ press }) => press);
  assert.ok(first);
  assert.equal(off, first);
  assert.notEqual(second, first);
});

test("a slow network carries one on at a time", () => {
  const { hold, acts, tick } = bench();
  hold.press();
  tick();
  tick();
  assert.deepEqual(acts(), ["on"]);
});

test("an on still under way is given up, and off is said once more behind it", async () => {
  const { hold, sent, acts, failures } = bench();
  hold.press();
  hold.release();
  assert.equal(sent[0]?.aborted?.aborted, true);
  assert.deepEqual(acts(), ["on", "off"]);
  await settled();
  assert.deepEqual(acts(), ["on", "off", "off"]);
  assert.deepEqual(failures, []);
});

test("an off that fails is tried again, then said", async () => {
  const { hold, sent, acts, failures } = bench();
  hold.press();
  sent[0]?.answer();
  await settled();
  hold.release();
  for (const n of [1, 2, 3]) {
    sent[n]?.fail(new Error("no network"));
    await settled();
  }
  assert.deepEqual(acts(), ["on", "off", "off", "off"]);
  assert.equal(failures.length, 1);
});

test("releasing twice or unpressed does nothing more", async () => {
  const { hold, sent, acts } = bench();
  hold.release();
  assert.deepEqual(acts(), []);
  hold.press();
  hold.press();
  sent[0]?.answer();
  await settled();
  hold.release();
  hold.release();
  assert.deepEqual(acts(), ["on", "off"]);
});

test("a refused on is said", async () => {
  const { hold, sent, failures } = bench();
  hold.press();
  sent[0]?.fail(new Error("light is tripped"));
  await settled();
  assert.equal(failures.length, 1);
});

test("a hold that ended while the finger is down says nothing more until the next press", async () => {
  const { hold, sent, acts, failures, tick, ticking } = bench();
  hold.press();
  sent[0]?.fail(new Error("this tablet watches"));
  await settled();
  assert.equal(failures.length, 1);
  hold.end();
  tick();
  hold.release();
  assert.equal(ticking(), false);
  assert.deepEqual(acts(), ["on"]);
  hold.press();
  assert.deepEqual(acts(), ["on", "on"]);
});

test("a finger that was not heard for longer than the device waits lights by its next press only", async () => {
  const { hold, sent, acts, tick, ticking, ended } = bench();
  const lose = async (/** @type {number} */ words) => {
    for (let word = 0; word < words; word += 1) {
      sent.at(-1)?.fail(new Error("no network"));
      await settled();
      tick();
    }
  };
  hold.press();
  await lose(3);
  sent.at(-1)?.answer(); // the fourth arrived: it goes on
  await settled();
  assert.ok(ticking());
  tick();
  await lose(4);
  assert.deepEqual([hold.held, ticking(), ended()], [false, false, 1]);
  assert.deepEqual(new Set(acts()), new Set(["on"]));
  hold.release();
  hold.press();
  assert.ok(hold.held && ticking());
});

test("a word that is never answered counts as lost each time the next one is due", async () => {
  const { hold, sent, acts, failures, tick, ticking, ended, unanswered } = bench();
  hold.press();
  for (let due = 0; due < 3; due += 1) tick();
  assert.deepEqual([ticking(), unanswered()], [true, 0]);
  tick();
  assert.deepEqual([hold.held, ticking(), ended(), unanswered()], [false, false, 1, 1]);
  assert.equal(sent[0]?.aborted?.aborted, true, "what hangs must not light later");
  await settled();
  assert.deepEqual(acts(), ["on", "off"]);
  assert.deepEqual(failures, []);
  hold.press();
  assert.deepEqual(acts(), ["on", "off", "on"]);
});

test("a slow answer takes back what was counted while it was waited for", async () => {
  const { hold, sent, tick, ticking } = bench();
  hold.press();
  for (let word = 0; word < 4; word += 1) {
    for (let due = 0; due < 3; due += 1) tick();
    sent.at(-1)?.answer();
    await settled();
    tick();
  }
  assert.ok(ticking());
});
