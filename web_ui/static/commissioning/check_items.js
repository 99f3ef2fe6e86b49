/** @import { CheckItem } from "./commissioning_types.js" */

import { made } from "../page/made.js";
import { said } from "../page/said.js";
import { words } from "../page/words.js";
import { itemName } from "./step_words.js";

/**
 * The lines of a check: what, whether it passed, value beside limit or what to do. What failed stands first.
 *
 * @param {CheckItem[]} items
 * @param {boolean} sorted
 */
export function checkItems(items, sorted) {
  const order = sorted ? [...items].sort((a, b) => Number(a.passed) - Number(b.passed)) : items;
  return made("ul", "check-items", ...order.map(line));
}

/** @param {CheckItem} item */
function line({ name, passed, words: found }) {
  const verdict = made("strong", "check-verdict", passed ? words("commissioning-pass") : words("commissioning-fail"));
  const one = made("li", "check-item", verdict, made("span", "check-name", itemName(name)), made("span", "check-words", said(found)));
  one.classList.toggle("failed", !passed);
  return one;
}
