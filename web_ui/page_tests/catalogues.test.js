import assert from "node:assert/strict";
import { readdirSync, readFileSync } from "node:fs";
import { test } from "node:test";

import { FluentResource } from "../static/libraries/fluent-bundle/index.js";
import { catalogue, catalogues } from "./catalogue.js";
import { LANGUAGES } from "../static/page/words.js";

const HOME = new URL("../", import.meta.url);

/** @param {string} folder @param {string} ending @returns {string[]} */
function texts(folder, ending) {
  return readdirSync(new URL(folder, HOME), { recursive: true, encoding: "utf8" })
    .filter((name) => name.endsWith(ending) && !name.startsWith("libraries/"))
    .map((name) => readFileSync(new URL(`${folder}${name}`, HOME), "utf8"));
}

/** @param {string} text @returns {Map<string, string>} each message with all that stands in it, as its parser read it */
function messages(text) {
  return new Map(new FluentResource(text).body.map((message) => [message.id, JSON.stringify(message.value)]));
}

/** @param {string} text @param {RegExp} found @returns {string[]} */
function all(text, found) {
  return [...text.matchAll(found)].map((match) => match[1] ?? "");
}

const scripts = texts("static/", ".js").join("\n");
const templates = texts("templates/", ".html").join("\n");
const english = messages(catalogue("en"));

// Ids are written out, never put together, so that this test can see them: as an argument of words() or put(), in a template's
// data-words, or as a value in a table whose name ends in _WORDS. Of each place the Places sheet says two.
const named = new Set([
  ...all(scripts, /\bwords\(\s*"([^"]+)"/g),
  ...all(scripts, /\bput\((?:[^()"]|\([^()]*\))*,\s*"([^"]+)"/g),
  ...all(scripts, /_WORDS = (?:\/\*\*.*?\*\/ )?[({[]([^;]*);/g).flatMap((table) => all(table, /"([a-z]+-[a-z0-9-]+)"(?!\s*\]?:)/g)),
  ...all(templates, /data-words(?:-label|-alt|-placeholder)?="([^"]+)"/g),
]);

test("every message that the page names is there", () => {
  assert.ok(named.size > 20);
  assert.deepEqual([...named].filter((id) => !english.has(id)), []);
});

test("every message is used somewhere", () => {
  const used = new Set([...named, ...all(scripts, /["`]([a-z]+-[a-z0-9-]+)["`]/g)]);
  const ofPlaces = /-(place|about)$/;
  const ofDevice = /^said-/; // what the device says is compared with its source by tests/web_ui/test_device_sentences.py
  assert.deepEqual([...english.keys()].filter((id) => !used.has(id) && !ofPlaces.test(id) && !ofDevice.test(id)), []);
});

for (const language of LANGUAGES) {
  test(`${language}: every line of the catalogues is understood, and named after its catalogue`, () => {
    for (const { name, text } of catalogues(language)) {
      const written = all(text, /^([a-zA-Z][\w-]*)\s*=/gm);
      assert.deepEqual([...messages(text).keys()], written, name);
      assert.equal(new Set(written).size, written.length, `${name} says something twice`);
      assert.deepEqual(written.filter((id) => !id.startsWith(`${name}-`)), []);
    }
  });

  test(`${language}: no message is missing, none is more, and each asks for the same values`, () => {
    const own = messages(catalogue(language));
    assert.deepEqual([...own.keys()].sort(), [...english.keys()].sort());
    for (const [id, text] of own) {
      const asked = (/** @type {string} */ one) => [...new Set(all(one, /"type":"var","name":"([^"]+)"/g))].sort();
      assert.deepEqual(asked(text), asked(english.get(id) ?? ""), id);
    }
  });
}

test("no sentence was left in English", () => {
  for (const language of ["de", "es"]) {
    const own = messages(catalogue(language));
    assert.deepEqual([...own].filter(([id, text]) => text.split(" ").length > 3 && text === english.get(id)).map(([id]) => id), []);
  }
});
