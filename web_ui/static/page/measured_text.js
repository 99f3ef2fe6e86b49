import { numberText, withUnit } from "./number_text.js";

/** More decimals than this say nothing to a reader; an uncertainty below the last one is rounded up to it. */
const MOST_DECIMALS = 2;

/**
 * Decimals that a value deserves: its uncertainty to one digit, to two where that digit is a 1 (as the GUM, 7.2.6, advises at most
 * two).
 *
 * @param {number} u one standard uncertainty
 */
export function decimalsFor(u) {
  if (!(u > 0)) return MOST_DECIMALS;
  const power = Math.floor(Math.log10(u));
  const leading = Number(u.toPrecision(2)) / 10 ** Math.floor(Math.log10(Number(u.toPrecision(2))));
  return Math.min(Math.max((leading < 2 ? 1 : 0) - power, 0), 3);
}

/**
 * A measured number with as many digits as its uncertainty leaves: `11.2 ± 0.4 s`.
 *
 * @param {number} value
 * @param {number | null} u
 * @param {string} unit
 */
export function measuredText(value, u, unit) {
  if (u === null) return withUnit(numberText(value, Math.abs(value) < 10 ? 1 : 0), unit);
  return plusMinus(value, u, Math.min(decimalsFor(u), MOST_DECIMALS), unit);
}

/**
 * The same with so many decimals, so that nothing moves while it changes. Every value with an uncertainty is written here.
 *
 * @param {number} value
 * @param {number} u one standard uncertainty; below the last decimal it is rounded up to that
 * @param {number} decimals
 * @param {string} unit
 */
export function plusMinus(value, u, decimals, unit) {
  return withUnit(`${numberText(value, decimals)}\u00a0±\u00a0${numberText(Math.max(u, 10 ** -decimals), decimals)}`, unit);
}
