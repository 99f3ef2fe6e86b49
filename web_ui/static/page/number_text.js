import { locale } from "./words.js";

/**
 * A number as the reader's country writes it, with so many decimals, no thousands set apart, and a true minus.
 *
 * @param {number} value
 * @param {number} decimals
 */
export function numberText(value, decimals) {
  const rounded = Number(value.toFixed(decimals)) || 0; // no "−0"
  const text = new Intl.NumberFormat(locale(), { minimumFractionDigits: decimals, maximumFractionDigits: decimals, useGrouping: false }).format(rounded);
  return text.replace("-", "−");
}

/** A number and its unit, which stay on one line. @param {string} number @param {string} unit */
export function withUnit(number, unit) {
  return unit === "" ? number : `${number}\u00a0${unit}`;
}

/** @param {number} megabytes */
export function storageText(megabytes) {
  return megabytes >= 1000 ? withUnit(numberText(megabytes / 1000, megabytes >= 10_000 ? 0 : 1), "GB") : withUnit(numberText(megabytes, 0), "MB");
}

/** @param {number} share */
export function shareText(share) {
  return withUnit(numberText(100 * share, 0), "%");
}
