import { locale } from "../page/words.js";

/**
 * Decimals that a value deserves: its uncertainty to one digit, to two where that digit is a 1 (as the GUM, 7.2.6, advises at most
 * two).
 *
 * @param {number} u one standard uncertainty
 */
export function decimalsFor(u) {
  if (!(u > 0)) return 2;
  const power = Math.floor(Math.log10(u));
  const leading = Number(u.toPrecision(2)) / 10 ** Math.floor(Math.log10(Number(u.toPrecision(2))));
  return Math.min(Math.max((leading < 2 ? 1 : 0) - power, 0), 3);
}

/**
 * A number as the reader writes it.
 *
 * @param {number} value
 * @param {number} decimals
 */
export function numberText(value, decimals) {
  const rounded = Number(value.toFixed(decimals)) || 0;
  const text = new Intl.NumberFormat(locale(), { minimumFractionDigits: decimals, maximumFractionDigits: decimals, useGrouping: false }).format(rounded);
  return text.replace("-", "−");
}

/** More decimals than this say nothing to a reader; an uncertainty below the last one is rounded up to it. */
const MOST_DECIMALS = 2;

/**
 * A measured number: `11.2 ± 0.4 s`.
 *
 * @param {number} value
 * @param {number | null} u
 * @param {string} unit
 */
export function measuredText(value, u, unit) {
  if (u === null) return `${numberText(value, Math.abs(value) < 10 ? 1 : 0)}\u00a0${unit}`;
  const decimals = Math.min(decimalsFor(u), MOST_DECIMALS);
  return `${numberText(value, decimals)}\u00a0±\u00a0${numberText(Math.max(u, 10 ** -decimals), decimals)}\u00a0${unit}`;
}
