import { keep, kept } from "./kept.js";

/** @typedef {"dark" | "bright"} Theme dark for the theatre, bright under a lamp */

/** @returns {Theme} */
export function theme() {
  return document.documentElement.dataset["theme"] === "bright" ? "bright" : "dark";
}

export function showKeptTheme() {
  show(kept("theme") === "bright" ? "bright" : "dark");
}

/** @param {Theme} chosen */
export function chooseTheme(chosen) {
  show(chosen);
  keep("theme", chosen);
}

/** @param {Theme} chosen */
function show(chosen) {
  document.documentElement.dataset["theme"] = chosen;
  const ground = getComputedStyle(document.documentElement).getPropertyValue("--ground").trim();
  document.querySelector('meta[name="theme-color"]')?.setAttribute("content", ground);
}
