/** @import { Language } from "./words.js" */

import { Refusal } from "./device_api.js";
import { keep, kept } from "./kept.js";
import { learnSentences } from "./said.js";
import { LANGUAGES, relabelPage, speak, words } from "./words.js";

/**
 * The first of the reader's languages that the page speaks, English where there is none.
 *
 * @param {string | null} chosen
 * @param {readonly string[]} readers
 * @returns {Language}
 */
export function languageFor(chosen, readers) {
  const wanted = [...(chosen === null ? [] : [chosen]), ...readers].map((one) => one.toLowerCase().split("-")[0]);
  return wanted.map((one) => LANGUAGES.find((language) => language === one)).find((one) => one !== undefined) ?? "en";
}

/** Speak the language chosen on this tablet, or else the browser's. */
export async function speakReadersLanguage() {
  await fetchAndSpeak(languageFor(kept("language"), navigator.languages));
}

/** @param {Language} language */
export async function chooseLanguage(language) {
  await fetchAndSpeak(language);
  keep("language", language);
}

/** @param {Language} language */
async function fetchAndSpeak(language) {
  const [english, chosen] = await Promise.all([fetched("en"), language === "en" ? null : fetched(language)]);
  learnSentences(english);
  speak(language, chosen ?? english);
  relabelPage();
}

/** @param {Language} language */
async function fetched(language) {
  const answer = await fetch(new URL(`../words/${language}.ftl`, import.meta.url)).catch(() => null);
  if (!answer?.ok) throw new Refusal(words("page-unreachable"));
  return answer.text();
}
