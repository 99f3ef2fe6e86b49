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
