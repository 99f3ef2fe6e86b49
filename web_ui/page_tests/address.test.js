import assert from "node:assert/strict";
import { test } from "node:test";

import { addressOf, placeOf } from "../static/page/address.js";
import { languageFor } from "../static/page/language.js";

test("an address names a place and what it opens there, whatever stands in the name", () => {
  for (const parts of [[], ["K7-Heron-2"], ["K7/8", "a#b %"], ["\u202egnp.exe"]]) {
    assert.deepEqual(placeOf(addressOf("review", parts)), { name: "review", parts });
  }
  assert.deepEqual(placeOf(""), { name: "", parts: [] });
  assert.deepEqual(placeOf("#review/%E0%A4%A"), { name: "", parts: [] });
});

test("the page speaks the language chosen on the tablet, or the reader's first that it knows, or English", () => {
  assert.equal(languageFor("es", ["de-AT", "en"]), "es");
  assert.equal(languageFor(null, ["fr-CH", "de-CH", "en"]), "de");
  assert.equal(languageFor(null, ["fr"]), "en");
  assert.equal(languageFor("<script>", ["es-MX"]), "es");
});
