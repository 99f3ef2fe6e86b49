/** Dashes of the thin line of each kind of event, so that kinds are told apart without colour. */
/** @type {Record<string, number[]>} */
const DASHES = {
  injection: [],
  note: [2, 4],
  "late note": [2, 4],
  light: [8, 5],
  exposure: [8, 5],
  gap: [14, 4],
  trip: [14, 4],
  here: [],
};

/** @param {string} kind */
export function eventDash(kind) {
  return DASHES[kind] ?? [4, 4];
}

/** A sign a kind, so that no colour is needed. @type {Record<string, string>} */
const SIGNS = { injection: "▼", note: "✎", "late note": "✎", light: "☀", gap: "▯", trip: "!", region: "▭", reference: "◇" };

/** @param {string} kind */
export function eventSign(kind) {
  return SIGNS[kind] ?? "•";
}
