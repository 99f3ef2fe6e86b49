import { words } from "../page/words.js";

/**
 * The colours of percent, as `shared/colour.py` has them: from nothing to full scale, clear at low values.
 *
 * @typedef {object} PercentColours
 * @property {number[][]} colours red, green, blue, rising
 * @property {number} clear_percent at and below this the picture stays grey
 * @property {number} covered_percent from here on the map covers fully
 */

/** Grey under the clear end of the scale. */
const GREY = 110;

/**
 * Colour of a percentage over mid grey.
 *
 * @param {PercentColours} map
 * @param {number} percent
 * @param {number} fullScale
 * @returns {[number, number, number]}
 */
export function percentColour(map, percent, fullScale) {
  const last = map.colours.length - 1;
  const [red = GREY, green = GREY, blue = GREY] = map.colours[Math.min(last, Math.max(0, Math.round((percent / fullScale) * last)))] ?? [];
  const cover = Math.min(1, Math.max(0, (percent - map.clear_percent) / (map.covered_percent - map.clear_percent)));
  /** @param {number} channel */
  const over = (channel) => Math.round(GREY + cover * (channel - GREY));
  return [over(red), over(green), over(blue)];
}

/**
 * Percentages to write at the scale: every 20, and every 50 where the scale is long.
 *
 * @param {number} fullScale
 */
export function legendTicks(fullScale) {
  const step = fullScale > 160 ? 50 : 20;
  const ticks = [];
  for (let percent = 0; percent <= fullScale; percent += step) ticks.push(percent);
  return ticks;
}

/** @param {number[]} contours */
export function contourWords(contours) {
  if (contours.length === 0) return words("picture-no-contours");
  return words("picture-contours-at", { percent: contours.map((percent) => String(Math.round(percent))).join(", ") });
}
