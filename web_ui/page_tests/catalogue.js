import { readdirSync, readFileSync } from "node:fs";

const FOLDER = new URL("../static/words/", import.meta.url);

/**
 * All messages of a language, as the device serves them.
 *
 * @param {string} language
 */
export function catalogue(language) {
  return catalogues(language).map(({ text }) => text).join("\n");
}

/**
 * The catalogues of a language, one a place.
 *
 * @param {string} language
 */
export function catalogues(language) {
  const folder = new URL(`${language}/`, FOLDER);
  return readdirSync(folder).filter((name) => name.endsWith(".ftl")).sort()
    .map((name) => ({ name: name.replace(".ftl", ""), text: readFileSync(new URL(name, folder), "utf8") }));
}
