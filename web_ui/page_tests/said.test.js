import assert from "node:assert/strict";
import { afterEach, test } from "node:test";

import { lightFacts } from "../static/device/light_facts.js";
import { lightSentence } from "../static/live/light_words.js";
import { refusalLine } from "../static/page/device_api.js";
import { toldEvents } from "../static/review/event_words.js";
import { isKnown, learnSentences, recognised, said, saidWithin } from "../static/page/said.js";
import { speak } from "../static/page/words.js";
import { catalogue } from "./catalogue.js";

afterEach(() => learnSentences(catalogue("en")));
learnSentences(catalogue("en"));

const HOT = "the LEDs are at 61.50 °C, limit 60 °C: let them cool below 55 °C";

test("on an English page the device speaks for itself", () => {
  speak("en", catalogue("en"));
  assert.equal(said(HOT), HOT);
  assert.equal(said("anything at all"), "anything at all");
  assert.equal(said(""), "");
});

test("numbers keep their decimals and are written as the language writes them", () => {
  speak("de", catalogue("de"));
  assert.match(said(HOT), /61,50\u00a0°C, Grenze 60\u00a0°C/);
  speak("es", catalogue("es"));
  assert.match(said(HOT), /61,50\u00a0°C, límite 60\u00a0°C/);
  assert.match(said("light level must be from 0 to 1: nan; choose a value inside"), /: nan;/);
});

test("of messages that fit, one that opens the line is meant, then the one with most of its own", () => {
  learnSentences("said-any = { $path }: cannot be read\nsaid-more = { $path }: cannot be read ({ $why }); check it\nsaid-none = { $name }: { $said-why }\nsaid-dust = dust\nsaid-list = list: { $said-why }");
  assert.equal(recognised("a: cannot be read (b); check it")?.id, "said-more");
  assert.equal(recognised("a: cannot be read")?.id, "said-any");
  assert.equal(recognised("list: a: cannot be read (b); check it")?.id, "said-list");
  assert.equal(recognised("a: dust")?.id, "said-none");
  assert.equal(recognised("a: something else"), null, "nothing of the message's own, and nothing known in it");
});

test("what people named is never translated, what the device named is", () => {
  speak("de", catalogue("de"));
  assert.match(said("no such recording: cover; choose one from the list"), /: cover;/);
  assert.match(said("the cover sensor stopped answering: check its plug"), /Abdeckung/);
  assert.equal(saidWithin("dark, flat"), "Dunkelbild, Hellfeld");
  assert.equal(saidWithin("a well of my own"), "a well of my own");
});

test("a hostile name cannot become a pattern, and keeps its direction to itself", () => {
  speak("de", catalogue("de"));
  const name = "(.*)[a{2}\u202e<b>$&";
  assert.ok(said(`no such recording: ${name}; choose one from the list`).includes(`\u2068${name}\u2069`));
});

test("text made to fit in a million ways takes no longer than any other", () => {
  speak("de", catalogue("de"));
  for (const part of [": frame 1 must be from 1 to 2: 3; ", "frame 1 of this shard, at byte 2, is damaged: ", "a: ", "a; "]) {
    assert.match(said(`${part.repeat(1900 / part.length)}!`), /^Auf Englisch: /);
    assert.match(said(part.repeat(3000)), /^Auf Englisch: /);
  }
});

test("a line that no catalogue knows is marked as English", () => {
  speak("de", catalogue("de"));
  assert.equal(said("the flux is out"), "Auf Englisch: the flux is out");
  assert.ok(!isKnown("the flux is out"));
});

test("why the light tripped, what is refused, and what a recording of another day says, in German", () => {
  speak("de", catalogue("de"));
  const light = /** @type {any} */ ({
    reachable: true, state: "tripped", level: 0, wanted_on: true, wanted_level: 0.6, lease_left_ms: 0, reason: HOT,
    conditions: [{ name: "LED temperature", state: "missing", sentence: HOT, value: 61.5, limit: 60, unit: "°C" }],
  });
  assert.match(lightSentence(light, false), /^Die LEDs haben 61,50\u00a0°C.*Drücken Sie danach einmal „Licht“/);
  const facts = lightFacts(light).map(({ value }) => value);
  assert.deepEqual(facts.filter((value) => value.includes("die LEDs haben")).length, 2, "as its reason and as the condition that is missing");
  assert.equal(refusalLine(400, { line: "no recording is running; start one" }), "keine Aufnahme läuft; beginnen Sie eine");
  const [trip] = toldEvents(/** @type {any} */ ({ events: [{ kind: "trip", at_s: 3, text: "the ring's cover is open: close it" }], late_notes: [] }));
  assert.match(trip?.text ?? "", /die Abdeckung des Rings ist offen/);
});
