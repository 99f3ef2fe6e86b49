/**
 * Numbers as people of any of the page's languages type them, with spaces, semicolons or lines between: a comma within one is its point,
 * a comma with a space after it stands between two.
 *
 * @param {string} text
 * @returns {number[]} none where one of them is no number
 */
export function numbersOf(text) {
  const parts = text.split(/[\s;]+/).map((one) => one.replace(/,$/, "")).filter((one) => one !== "");
  const numbers = parts.map((one) => (/^\d+([.,]\d+)?(e-?\d+)?$/i.test(one) ? Number(one.replace(",", ".")) : NaN));
  return numbers.some(Number.isNaN) ? [] : numbers;
}

const WELLS = 8;
const HIGHEST_CONCENTRATION = 1e9;

/** Whether these can be a dilution row's, as the device asks it. @param {number[]} numbers */
export function isDilutionRow(numbers) {
  return numbers.length === WELLS && new Set(numbers).size === WELLS && numbers.includes(0) && Math.max(...numbers) <= HIGHEST_CONCENTRATION;
}
