import assert from "node:assert/strict";
import { test } from "node:test";

import "./english.js";
import { refusalLine } from "../static/page/device_api.js";
import { lightSentence, outputText, rippleText } from "../static/live/light_words.js";
import { dyeWords } from "../static/live/run_actions.js";
import { ageText, calibrationText } from "../static/live/status_line.js";
import { lightWord } from "../static/page/state_words.js";
import { durationText } from "../static/page/moment_text.js";
import { storageText } from "../static/page/number_text.js";
import { isCertain, valueText } from "../static/page/value_text.js";

/** @param {Partial<import("../static/page/device_state.js").LampState>} differs */
function lamp(differs) {
  return /** @type {import("../static/page/device_state.js").LampState} */ ({
    reachable: true, state: "off", level: 0, wanted_on: false, wanted_level: 0.6, lease_left_ms: 0, reason: "", ...differs,
  });
}

test("values read as people say them, or say why there is none", () => {
  assert.equal(valueText({ percent: 38.4, percent_u: 1.8, flag: "" }), "38\u00a0±\u00a02\u00a0%");
  assert.equal(valueText({ percent: 100, percent_u: 0.04, flag: "" }), "100\u00a0±\u00a01\u00a0%");
  assert.equal(valueText({ percent: -3.6, percent_u: 2, flag: "" }), "−4\u00a0±\u00a02\u00a0%");
  assert.equal(valueText({ percent: -0.3, percent_u: 2, flag: "" }), "0\u00a0±\u00a02\u00a0%");
  assert.equal(valueText({ percent: null, percent_u: null, flag: "saturated" }), "saturated");
  assert.equal(valueText({ percent: null, percent_u: null, flag: "" }), "uncertain");
  assert.equal(valueText({ percent: 40, percent_u: 6, flag: "uncertain" }), "uncertain", "how unsure is too unsure, the device's settings say");
  assert.ok(isCertain({ percent: 40, percent_u: 6, flag: "" }));
  assert.equal(valueText({ percent: 40, percent_u: 2, flag: "reference saturated" }), "reference saturated");
  assert.ok(!isCertain({ percent: 40, percent_u: 2, flag: "reference saturated" }));
});

test("times, sizes and ages", () => {
  assert.equal(durationText(42.9), "0:42");
  assert.equal(durationText(725), "12:05");
  assert.equal(durationText(-1), "0:00");
  assert.equal(storageText(640), "640\u00a0MB");
  assert.equal(storageText(1800), "1.8\u00a0GB");
  assert.equal(storageText(118_000), "118\u00a0GB");
  assert.equal(ageText(null), "–\u00a0s");
  assert.equal(ageText(340), "0.3\u00a0s");
  assert.equal(ageText(12_300), "12\u00a0s");
});

test("ripple is said with the exposure it is for, and by which pulses", () => {
  assert.equal(rippleText(lamp({ state: "lit", pwm: "hardware", pulse_hz: 20_000, ripple: 0.00052 }), 15_000), "PWM ripple 0.05\u00a0% at 15.0\u00a0ms");
  assert.equal(rippleText(lamp({ state: "lit", pwm: "software", pulse_hz: 1000, ripple: 1 / 15 }), 15_000), "Software PWM ripple 6.7\u00a0% at 15.0\u00a0ms");
  assert.equal(rippleText(lamp({ state: "lit", pwm: "hardware", pulse_hz: 0, ripple: 0 }), 8000), "No PWM ripple at 8.0\u00a0ms: the light does not pulse");
  assert.equal(rippleText(lamp({ pwm: "software", ripple: 0, pulse_hz: 0 }), 8000), "Software PWM ripple: known while lit");
});

test("light output says whether it was ever measured", () => {
  assert.equal(outputText(""), "Light output assumed linear");
  assert.match(outputText("2026-11-25T18:00:38Z"), /^Light output measured .*25.*2026$|^Light output measured .*2026.*25/);
});

test("assumed calibration is called what it is", () => {
  assert.equal(calibrationText("assumed"), "not calibrated");
  assert.equal(calibrationText("commissioned"), "calibrated");
});

test("the light says what it does, and a trip says what to do", () => {
  assert.equal(lightWord(lamp({ state: "lit", level: 0.6 })), "Light on 60\u00a0%");
  assert.equal(lightWord(lamp({ state: "lit", level: 0.6, reachable: false })), "Light: no answer");
  const tripped = lamp({ state: "tripped", reason: "no fresh frame for 100 ms" });
  assert.match(lightSentence(tripped, false), /^No fresh frame for 100\u00a0ms\. .*press Light once/);
  assert.match(lightSentence(tripped, true), /Let go of Light/);
  assert.equal(lightSentence(lamp({ state: "ready" }), false), "");
  assert.equal(lightSentence(lamp({ wanted_on: true, reason: "exposure is not locked" }), false), "Exposure is not locked.");
  assert.match(lightSentence(lamp({ reachable: false }), false), /the light is off/);
});

test("refusals keep the device's own line, and others say what to do", () => {
  assert.equal(refusalLine(400, { line: "gain 99 is too high; choose at most 64" }), "gain 99 is too high; choose at most 64");
  assert.match(refusalLine(503, null), /try again/);
  const gone = "the imager does not answer: /run/tapetum/control.sock (No such file or directory); is the imager running? (systemctl status tapetum-imager)";
  assert.equal(refusalLine(503, { line: gone }), refusalLine(503, null), "a socket and a command are nothing for whoever stands at a wound");
  assert.match(refusalLine(429, {}), /Wait/);
  assert.match(refusalLine(500, { line: "" }), /500/);
});

test("dye in says what runs with it, and no more", () => {
  assert.equal(dyeWords(null, "K7-3"), "Dye in: the clock runs, and a recording with it.");
  assert.equal(dyeWords("K7-3", "K7-3"), "Dye in: the clock runs. The recording goes on.");
  assert.equal(dyeWords(null, null), "Dye in: the clock runs.");
});
