import assert from "node:assert/strict";
import { mock, test } from "node:test";

import { ask, PATIENCE_MS, Unreachable } from "../static/page/device_api.js";
import "./english.js";

test("a question that is never answered is given up, and said to be that; a network that fails is said at once", async () => {
  const patience = new AbortController();
  mock.method(AbortSignal, "timeout", (/** @type {number} */ ms) => {
    assert.equal(ms, PATIENCE_MS);
    return patience.signal;
  });
  const hanging = mock.method(globalThis, "fetch", (/** @type {string} */ _, /** @type {RequestInit} */ { signal }) =>
    new Promise((_resolve, reject) => signal?.addEventListener("abort", () => reject(signal.reason))));
  const asked = ask("GET", "/state");
  patience.abort(new DOMException("", "TimeoutError"));
  await assert.rejects(asked, (error) => error instanceof Unreachable && /does not answer/.test(error.message));
  hanging.mock.restore();
  mock.method(AbortSignal, "timeout", () => new AbortController().signal);
  mock.method(globalThis, "fetch", () => Promise.reject(new TypeError("network")));
  await assert.rejects(ask("GET", "/state"), (error) => error instanceof Unreachable && /cannot be reached/.test(error.message));
  mock.restoreAll();
});
