import assert from "node:assert/strict";
import { test } from "node:test";

import "./english.js";
import { betweenText, estimateText, isOpen, leftText, levelText } from "../static/compare/compared_text.js";
import { driveName, fits, neededMb } from "../static/export/export_room.js";

test("a difference says its sign and its uncertainty, or that it is uncertain", () => {
  assert.equal(levelText({ value: 28.14, u: 0.03 }, true), "+28.1\u00a0±\u00a00.1\u00a0points");
  assert.equal(levelText({ value: -7.6, u: 2.2 }, true), "−8\u00a0±\u00a02\u00a0points");
  assert.equal(levelText({ value: -0.3, u: 0.8 }, true), "0\u00a0±\u00a01\u00a0points", "what reads 0 goes neither way");
  assert.equal(levelText({ value: 0.4, u: 0.8 }, true), "0\u00a0±\u00a01\u00a0points");
  assert.equal(levelText({ value: 36.4, u: 0.6 }), "36\u00a0±\u00a01\u00a0%");
  assert.equal(levelText({ value: 36.4, u: 5.1 }), "uncertain");
  assert.equal(levelText({ value: null, u: null }), "not known");
  assert.equal(estimateText({ value: 40, u: 20 }, "%"), "uncertain");
  assert.equal(estimateText({ value: 1.77, u: 0.02 }, ""), "1.77\u00a0±\u00a00.02");
});

test("within two uncertainties there may be no difference", () => {
  assert.ok(isOpen({ value: 3, u: 1.6 }));
  assert.ok(isOpen({ value: null, u: null }));
  assert.ok(!isOpen({ value: -3, u: 1.4 }));
});

test("what was left of the first dye, and the time between", () => {
  const remainder = { half_life_s: null, left_percent: { value: 12.3, u: 0.4 }, predicted_percent: null, predicted_95_percent: null, observed_percent: null };
  assert.match(leftText({ ...remainder, method: "prediction" }), /as predicted only\. It was 12\.3\s±\s0\.4\s% of the reference's peak/);
  assert.equal(leftText({ ...remainder, left_percent: null, method: "no second injection" }), "No second injection: nothing is taken out.");
  assert.equal(leftText({ ...remainder, left_percent: null, method: "<b>new" }), "<b>new");
  const found = /** @type {any} */ ({ between_s: 300 });
  assert.equal(betweenText(found), "5.0 minutes between them.");
  assert.equal(betweenText({ ...found, between_s: null }), "The time between them is not known.");
});

test("an export fits, or does not", () => {
  const estimate = /** @type {any} */ ({ sizes: [{ format: "csv", size_mb: 2 }, { format: "tiff", size_mb: 900 }], drives: [], missing: [] });
  assert.equal(neededMb(estimate, ["csv", "tiff"]), 902);
  assert.equal(neededMb(null, ["csv"]), 0);
  const stick = { path: "/media/a/STICK", filesystem: "vfat", read_only: false, free_mb: 909 };
  assert.ok(!fits(stick, 902));
  assert.ok(fits({ ...stick, free_mb: 910 }, 902));
  assert.ok(!fits({ ...stick, read_only: true }, 1));
  assert.ok(!fits({ ...stick, free_mb: null }, 1));
  assert.ok(fits(undefined, 1));
  assert.equal(driveName(stick.path), "STICK");
});
