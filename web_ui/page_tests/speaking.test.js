import assert from "node:assert/strict";
import { test } from "node:test";

import { speak, words } from "../static/page/words.js";
import { numberText, storageText, valueText } from "../static/page/value_text.js";
import { catalogue } from "./catalogue.js";

test("numbers are written as the language writes them", () => {
  speak("de", catalogue("de"));
  assert.equal(storageText(1800), "1,8 GB");
  assert.equal(numberText(1234.56, 1), "1234,6");
  assert.equal(words("pairing-scan", { minutes: 1 }).includes("einer Minute"), true);
  assert.equal(words("pairing-scan", { minutes: 2 }).includes("von 2 Minuten"), true);
  speak("es", catalogue("es"));
  assert.equal(storageText(1800), "1,8 GB");
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
