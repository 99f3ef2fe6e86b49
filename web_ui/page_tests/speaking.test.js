import assert from "node:assert/strict";
import { test } from "node:test";

import { speak, words } from "../static/page/words.js";
import { levelText } from "../static/compare/compared_text.js";
import { measuredText } from "../static/page/measured_text.js";
import { numberText, storageText } from "../static/page/number_text.js";
import { valueText } from "../static/page/value_text.js";
import { catalogue } from "./catalogue.js";

test("numbers are written as the language writes them", () => {
  speak("de", catalogue("de"));
  assert.equal(storageText(1800), "1,8\u00a0GB");
  assert.equal(numberText(1234.56, 1), "1234,6");
  assert.equal(words("pairing-scan", { minutes: 1 }).includes("einer Minute"), true);
  assert.equal(words("pairing-scan", { minutes: 2 }).includes("von 2 Minuten"), true);
  speak("es", catalogue("es"));
  assert.equal(storageText(1800), "1,8\u00a0GB");
});

test("a value, its uncertainty and its unit are written alike wherever they stand, and stay on one line", () => {
  for (const [spoken, comma] of /** @type {const} */ ([["en", "."], ["de", ","], ["es", ","]])) {
    speak(spoken, catalogue(spoken));
    assert.equal(valueText({ percent: -3.6, percent_u: 1.8, flag: "" }), "−4\u00a0±\u00a02\u00a0%");
    assert.equal(levelText({ value: -3.64, u: 0.31 }), `−3${comma}6\u00a0±\u00a00${comma}3\u00a0%`);
    assert.equal(measuredText(-11.234, 0.4, "s"), `−11${comma}2\u00a0±\u00a00${comma}4\u00a0s`);
    assert.match(words("review-clock", { seconds: "12.3" }), /12\.3\u00a0s/);
  }
});

test("what the device says in place of a value is said in the page's language, and what nobody knows as it is", () => {
  speak("es", catalogue("es"));
  assert.equal(valueText({ percent: null, percent_u: null, flag: "saturated" }), "saturado");
  assert.equal(valueText({ percent: null, percent_u: null, flag: "new flag" }), "new flag");
});

test("a name that runs backwards keeps to itself within a sentence", () => {
  speak("en", catalogue("en"));
  assert.equal(words("pairing-sure-one", { who: "heron" }), "Unpair heron?");
  assert.equal(words("pairing-sure-one", { who: "\u202egnp.exe\u2069" }), "Unpair \u2068\u202egnp.exe\u2069?");
});

test("words that are missing are shown by their name, never as nothing", () => {
  assert.equal(words("page-no-such-words"), "page-no-such-words");
});
