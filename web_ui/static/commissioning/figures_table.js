/** @import { FigureLine } from "./commissioning_types.js" */

import { made } from "../page/made.js";
import { saidWithin } from "../page/said.js";
import { words } from "../page/words.js";

/**
 * Figures of a step beside their limits, and beside what they were before where that is known.
 *
 * @param {FigureLine[]} figures
 * @param {FigureLine[]} before
 */
export function figuresTable(figures, before = []) {
  const table = made("table", "figures");
  const heads = [words("commissioning-figure"), words("commissioning-value"), ...(before.length ? [words("commissioning-before")] : []), words("commissioning-limit")];
  const head = made("tr", "", ...heads.map((one) => headCell(one, "col")));
  const rows = figures.map((one) => {
    const was = before.length ? [made("td", "figures-before", saidWithin(before.find(({ figure }) => figure === one.figure)?.words ?? "–"))] : [];
    const row = made("tr", "", headCell(saidWithin(one.figure), "row"), made("td", "figures-value", saidWithin(one.words)), ...was, limitCell(one));
    row.classList.toggle("outside", one.passed === false);
    return row;
  });
  table.append(made("thead", "", head), made("tbody", "", ...rows));
  return table;
}

/** @param {string} text @param {string} scope */
function headCell(text, scope) {
  const cell = made("th", "", text);
  cell.scope = scope;
  return cell;
}

/** @param {FigureLine} line */
function limitCell({ limit, passed }) {
  const word = passed === null ? "" : passed ? words("commissioning-within") : words("commissioning-outside");
  return made("td", "figures-limit", saidWithin(limit), ...(word === "" ? [] : [made("strong", "figures-word", word)]));
}
