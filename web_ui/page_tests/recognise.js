/**
 * Lines of the device, as JSON on standard input, as the page recognises and says them: for the test that reads them from the
 * device's own source (tests/web_ui/test_device_sentences.py).
 */
import { readFileSync } from "node:fs";

import { learnSentences, recognised, said } from "../static/page/said.js";
import { speak } from "../static/page/words.js";
import { catalogue } from "./catalogue.js";

/** @type {string[]} */
const lines = JSON.parse(readFileSync(0, "utf8"));
learnSentences(catalogue("en"));
/** @param {"de" | "es"} language */
const spoken = (language) => {
  speak(language, catalogue(language));
  return lines.map(said);
};
const [german, spanish] = [spoken("de"), spoken("es")];

/** @param {string} line @returns {string[]} what stands in the line's holes, and in those of the lines within it */
function values(line) {
  return Object.values(recognised(line)?.args ?? {}).flatMap((value) => {
    const text = String(value.valueOf());
    return recognised(text) === null ? [text] : values(text);
  });
}

process.stdout.write(JSON.stringify(lines.map((line, index) => (
  { id: recognised(line)?.id ?? "", values: values(line), de: german[index], es: spanish[index] }
))));
