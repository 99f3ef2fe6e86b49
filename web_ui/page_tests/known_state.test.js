import assert from "node:assert/strict";
import { test } from "node:test";

import { KnownState, KNOWN_FOR_MS } from "../static/page/known_state.js";

const STATE = /** @type {import("../static/page/device_state.js").DeviceState} */ ({ view: "grey" });

test("what the device said is believed for two seconds, and not at all once it is cut off", () => {
  let now = 0;
  const known = new KnownState(() => now);
  /** @type {unknown[]} */
  const told = [];
  known.listeners.push((state) => told.push(state));
  known.heard(STATE, true);
  assert.equal(known.state(), null, "nobody listens to the device yet");
  known.connection(true);
  assert.equal(known.state(), STATE);
  now = KNOWN_FOR_MS - 1;
  assert.equal(known.state(), STATE);
  now = KNOWN_FOR_MS;
  assert.equal(known.state(), null);
  known.heard(STATE, true);
  known.connection(false);
  known.connection(true);
  assert.equal(known.state(), null, "what was said before the connection was lost is old");
  known.heard(STATE, false);
  assert.equal(known.state(), null, "the imager is down");
  assert.deepEqual(told.slice(-2), [null, null]);
});
