/** @import { Moment, ReviewedRecording } from "./review_types.js" */

import { chartPicture, pngOf } from "../charts/chart_picture.js";
import { colourOf } from "../charts/curve_look.js";
import { numberText } from "../page/number_text.js";
import { valueText } from "../page/value_text.js";
import { saveFile } from "../charts/saved_file.js";
import { words } from "../page/words.js";
import { recordedAt } from "./map_sheet.js";

/**
 * The picture of the moment as PNG: what it is, the values of its regions and the cautions beneath.
 *
 * @param {ReviewedRecording} review
 * @param {string} view
 * @param {number} at_s
 * @param {Moment | null} moment
 * @param {HTMLCanvasElement} drawing
 */
export async function saveMoment(review, view, at_s, moment, drawing) {
  const seconds = numberText(at_s, 1);
  const style = getComputedStyle(document.documentElement);
  const values = (moment?.regions ?? []).map((one) => `${one.name} ${valueText(one)}`).join("   ");
  const contours = view === "grey" ? "" : words("review-still-contours", { percent: review.contours_percent.join(", ") });
  const recorded = words("review-recorded", { name: review.name, when: recordedAt(review) });
  const lines = [values, contours, recorded, words("review-caution")].filter((line) => line !== "");
  const picture = chartPicture(drawing, {
    title: words("review-still-title", { name: review.name, seconds }),
    keys: [],
    lines,
    ground: colourOf(style, "--ground"),
    ink: colourOf(style, "--ink"),
  });
  saveFile(await pngOf(picture), `${review.name}-${at_s.toFixed(1)}s.png`);
}
