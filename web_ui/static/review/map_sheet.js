/** @import { KeptMap, KeptMaps, ReviewedRecording } from "./review_types.js" */

import { pngOf } from "../charts/chart_picture.js";
import { colourOf } from "../charts/curve_look.js";
import { momentText } from "../page/moment_text.js";
import { numberText, withUnit } from "../page/number_text.js";
import { pictureSheet, ticksOf } from "../charts/picture_sheet.js";
import { said } from "../page/said.js";
import { words } from "../page/words.js";
import { figureMeans, figureName, unitWord } from "./figure_words.js";

/**
 * A map as PNG to keep, in the page's language: what it is and of which recording, its scale in numbers, marks and cautions.
 *
 * @param {ReviewedRecording} review
 * @param {KeptMaps} maps
 * @param {KeptMap} map
 * @param {ImageBitmap} picture one pixel a bin
 * @param {string[]} colours of the scale, rising
 * @returns {Promise<Blob>}
 */
export function mapSheet(review, maps, map, picture, colours) {
  const style = getComputedStyle(document.documentElement);
  const lines = [
    figureMeans(map.name),
    ...(maps.reference === "" ? [] : [words("review-map-hundred", { reference: maps.reference })]),
    words("review-map-patterns"),
    words("review-map-beyond"),
    ...map.notes.map(said),
    words("review-recorded", { name: review.name, when: recordedAt(review) }),
    words("review-caution"),
  ].filter((line) => line !== "");
  const panel = { picture, caption: "", ramp: { colours, ticks: ticksOf(map, (number) => withUnit(numberText(number, decimalsOf(map.step)), unitWord(map.unit))) } };
  const title = `${figureName(map.name)} (${unitWord(map.unit)})`;
  return pngOf(pictureSheet({ title, panels: [panel], lines, ground: colourOf(style, "--ground"), ink: colourOf(style, "--ink") }));
}

/** @param {ReviewedRecording} review */
export function recordedAt({ started_at }) {
  return started_at === "" || Number.isNaN(Date.parse(started_at)) ? words("review-not-known") : momentText(started_at);
}

/** @param {number} step between two numbers of a scale */
export function decimalsOf(step) {
  return Math.min(Math.max(0, -Math.floor(Math.log10(step) + 1e-9)), 3);
}
