/** @import { LampState } from "../static/page/device_state.js" */

import assert from "node:assert/strict";
import { test } from "node:test";

import "./english.js";
import { clockFacts } from "../static/device/clock_facts.js";
import { networkFacts } from "../static/device/device_facts.js";
import { lightFacts } from "../static/device/light_facts.js";

/** @param {Partial<LampState>} differs @returns {LampState} */
function lamp(differs) {
  return { reachable: true, state: "ready", level: 0, wanted_on: false, wanted_level: 0.6, lease_left_ms: 0, reason: "", conditions: [], ...differs };
}

/** @param {import("../static/page/device_state.js").ConditionState[]} conditions */
function told(conditions) {
  return Object.fromEntries(lightFacts(lamp({ conditions })).map(({ name, value, mark }) => [name, [value, mark ?? ""]]));
}

test("what is met, what is missing, and what is not fitted", () => {
  const found = told([
    { name: "LED temperature", state: "holds", sentence: "", value: 41.2, limit: 60, unit: "°C" },
    { name: "supply", state: "missing", sentence: "the supply gives 4.1 V: charge it", value: 4.1, limit: 4.8, unit: "V" },
    { name: "cover", state: "absent", sentence: "no cover sensor is fitted", value: null, limit: null, unit: "" },
    { name: "ring obeys", state: "holds", sentence: "", value: null, limit: null, unit: "" },
    { name: "operator wants light", state: "missing", sentence: "light is not asked for", value: null, limit: null, unit: "" },
  ]);
  assert.deepEqual(found["LED temperature"], ["met: 41\u00a0°C, limit 60\u00a0°C", ""]);
  assert.deepEqual(found["Battery, or supply"], ["MISSING: the supply gives 4.1 V: charge it", "loud"]);
  assert.deepEqual(found["Cover of the ring"], ["not fitted", "quiet"]);
  assert.deepEqual(found["Ring obeys"], ["met", ""]);
  assert.equal(Object.keys(found).length, 6, "ring, level, and four conditions: the operator's wish is none of the device's");
});

test("exposure budget and pauses are told as people think of them", () => {
  const found = told([
    { name: "exposure budget", state: "holds", sentence: "", value: 88.7, limit: null, unit: "s" },
    { name: "continuous light", state: "holds", sentence: "", value: 12.2, limit: 600, unit: "s" },
  ]);
  assert.equal(found["Exposure budget for eyes and skin"]?.[0], "met: 88\u00a0s left at this level");
  assert.equal(found["Light without a pause"]?.[0], "met: 12\u00a0s lit, of 600\u00a0s without a pause");
  const endless = told([{ name: "exposure budget", state: "holds", sentence: "", value: null, limit: null, unit: "s" }]);
  assert.equal(endless["Exposure budget for eyes and skin"]?.[0], "met: need not end at this level");
});

test("a silent guard is said, and nothing is claimed for it", () => {
  const found = lightFacts(lamp({ reachable: false }));
  assert.equal(found.at(-1)?.mark, "loud");
  assert.match(found.at(-1)?.value ?? "", /not known/);
});

test("the clock is compared with the tablet's", () => {
  const facts = /** @type {import("../static/device/device_types.js").DeviceFacts} */ ({ now: "2031-05-04T09:41:00Z", clock_set: "not known", clock_words: "" });
  const beside = (/** @type {number} */ aheadS) => clockFacts(facts, Date.parse(facts.now) - aheadS * 1000)[1];
  assert.equal(beside(1)?.value, "the same within 3\u00a0s");
  assert.deepEqual([beside(65)?.value, beside(65)?.mark], ["1:05 ahead", "loud"]);
  assert.equal(beside(-7260)?.value, "2\u00a0h 1\u00a0min behind");
  assert.equal(clockFacts(facts, 0).at(-1)?.value, "not known: nothing here tells");
  assert.equal(clockFacts({ ...facts, clock_words: "set the clock" }, 0).at(-1)?.mark, "loud");
});

test("a connection is called encrypted only where it is", () => {
  const page = { encrypted: false, fingerprint: "", names: ["localhost"], addresses: [], started_at: "", memory_mb: 1, tablets: 2 };
  assert.match(networkFacts(page)[0]?.value ?? "", /^not encrypted/);
  assert.equal(networkFacts(page).length, 4);
  assert.equal(networkFacts({ ...page, encrypted: true, fingerprint: "AA" })[1]?.value, "AA");
});
