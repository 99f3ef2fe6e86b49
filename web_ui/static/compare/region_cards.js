/** @import { Comparison, RegionChange } from "./compare_types.js" */

import { made } from "../page/made.js";
import { said } from "../page/said.js";
import { words } from "../page/words.js";
import { FIGURES, comparedName, estimateText, isOpen, leftText, levelText } from "./compared_text.js";

/**
 * A card a region: its level at the end of both runs, how they differ and by how much, what was left, and every other figure.
 *
 * @param {Comparison} found
 */
export function regionCards(found) {
  return Object.entries(found.regions).filter(([name]) => name !== found.reference).map(([name, change]) => card(name, change));
}

/**
 * @param {string} name
 * @param {RegionChange} change
 */
function card(name, change) {
  const key = FIGURES[0]?.[0] ?? "";
  const open = isOpen(change.difference[key]);
  const verdict = open ? made("p", "change-open", words("compare-open")) : made("p", "change-open");
  return made("article", "raised-card region-card",
    made("h3", "region-title", name),
    made("div", "change-line",
      big(words("compare-first-short"), levelText(change.first[key])),
      big(words("compare-second-short"), levelText(change.second[key])),
      big(words("compare-difference"), levelText(change.difference[key], true), "change-big"),
      big(words("compare-ratio"), estimateText(change.ratio[key], ""))),
    verdict,
    made("p", "quiet-words", leftText(change.remainder)),
    flags(change),
    made("details", "folded", made("summary", "", words("compare-all-figures")), table(change)));
}

/**
 * @param {string} title
 * @param {string} value
 * @param {string} [className]
 */
function big(title, value, className = "") {
  return made("p", `change-cell ${className}`.trim(), made("span", "quiet-words", title), made("strong", "", value));
}

/** @param {RegionChange} change */
function flags(change) {
  const lines = [...(change.first.flags ?? []).map((flag) => words("compare-first-flag", { flag: said(flag) })), ...(change.second.flags ?? []).map((flag) => words("compare-second-flag", { flag: said(flag) }))];
  return made("ul", "compare-lines", ...lines.map((line) => made("li", "", line)));
}

/** @param {RegionChange} change */
function table(change) {
  const HEAD_WORDS = ["compare-figure", "compare-first-short", "compare-second-short", "compare-difference", "compare-ratio"];
  const head = made("tr", "", ...HEAD_WORDS.map((id) => th(words(id), "col")));
  const rows = FIGURES.map(([key, unit]) => made("tr", "", th(comparedName(key), "row"),
    td(estimateText(change.first[key], unit)), td(estimateText(change.second[key], unit)),
    td(estimateText(change.difference[key], unit, true)), td(estimateText(change.ratio[key], ""))));
  const all = made("table", "compare-table", made("thead", "", head), made("tbody", "", ...rows));
  const scroll = made("div", "table-scroll", all);
  scroll.tabIndex = 0;
  scroll.setAttribute("role", "region");
  scroll.setAttribute("aria-label", words("compare-all-figures"));
  return scroll;
}

/**
 * @param {string} text
 * @param {"row" | "col"} scope
 */
function th(text, scope) {
  const cell = made("th", "", text);
  cell.scope = scope;
  return cell;
}

/** @param {string} text */
function td(text) {
  return made("td", "", text);
}
