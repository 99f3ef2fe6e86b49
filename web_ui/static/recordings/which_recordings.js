/** Part of the address that stands for every recording, and for those without a case; neither can be a case's code. */
export const ALL = "*";
export const WITHOUT_CASE = "-";
export const A_PAGE = 50;

/**
 * Which recordings are on the screen.
 *
 * @typedef {{chosen: string, text: string, day: string}} Which  `chosen` is a case's code, ALL, WITHOUT_CASE, or "" for ALL
 */

/**
 * Path of a page of the list.
 *
 * @param {Which} which
 * @param {string} after where it begins, as the page before it said
 */
export function recordingsPath({ chosen, text, day }, after) {
  const query = new URLSearchParams({ limit: String(A_PAGE) });
  if (chosen === WITHOUT_CASE) query.set("case", "");
  else if (chosen !== "" && chosen !== ALL) query.set("case", chosen);
  else {
    if (text !== "") query.set("text", text);
    for (const [name, value] of Object.entries(dayBounds(day))) query.set(name, value);
  }
  if (after !== "") query.set("after", after);
  return `/recordings?${query}`;
}

/**
 * Path of a page of the cases.
 *
 * @param {string} text
 * @param {string} after
 */
export function casesPath(text, after) {
  const query = new URLSearchParams({ text, limit: String(A_PAGE) });
  if (after !== "") query.set("after", after);
  return `/cases?${query}`;
}

/**
 * When a day of this tablet's calendar begins and ends, in the device's UTC.
 *
 * @param {string} day as of an input of type date: 2031-05-04, or empty
 * @returns {{from_at?: string, until_at?: string}}
 */
export function dayBounds(day) {
  const [year, month, date] = day.split("-").map(Number);
  if (year === undefined || month === undefined || date === undefined || [year, month, date].some(Number.isNaN)) return {};
  return {
    from_at: new Date(year, month - 1, date).toISOString().slice(0, 19),
    until_at: new Date(year, month - 1, date + 1).toISOString().slice(0, 19),
  };
}

/**
 * A code for a new case that needs no typing: month and day, and the first letter that is free.
 *
 * @param {Date} today
 * @param {string[]} taken
 */
export function freeCode(today, taken) {
  const day = `${String(today.getMonth() + 1).padStart(2, "0")}${String(today.getDate()).padStart(2, "0")}`;
  const letters = [..."ABCDEFGHJKLMNPQRSTUVWXYZ"];
  const codes = [...letters, ...letters.flatMap((one) => letters.map((other) => one + other))].map((letter) => `${day}-${letter}`);
  return codes.find((code) => !taken.includes(code)) ?? "";
}
