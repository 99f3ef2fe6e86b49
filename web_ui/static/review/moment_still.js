/** @import { Shape } from "../picture/picture_geometry.js" */
/** @import { Drawn } from "./moment_picture.js" */
/** @import { Moment, ReviewedRecording } from "./review_types.js" */

import { pngOf } from "../charts/chart_picture.js";
import { colourOf } from "../charts/curve_look.js";
import { pictureSheet } from "../charts/picture_sheet.js";
import { saveFile } from "../charts/saved_file.js";
import { element } from "../page/element.js";
import { numberText, withUnit } from "../page/number_text.js";
import { valueText } from "../page/value_text.js";
import { words } from "../page/words.js";
import { legendTicks, percentColour } from "../picture/legend_scale.js";
import { paintOutlines } from "../picture/painted_outlines.js";
import { copies, windowOf } from "../picture/picture_geometry.js";
import { recordedAt } from "./map_sheet.js";

const RAMP_STEPS = 64;

/**
 * The picture on the screen as it is now, with its outlines and their names.
 *
 * @param {HTMLCanvasElement} shown
 * @param {Shape} shape
 * @param {Drawn} drawn
 * @param {boolean} hasReference whether the first of its regions is that
 */
export function withOutlines(shown, shape, { regions }, hasReference) {
  const drawing = document.createElement("canvas");
  [drawing.width, drawing.height] = [shown.width, shown.height];
  const paper = drawing.getContext("2d");
  if (paper === null) throw new Error("this browser cannot draw on a canvas");
  paper.drawImage(shown, 0, 0);
  const part = windowOf(shape);
  const marked = regions.map((text, index) => ({ text, isReference: hasReference && index === 0 }));
  for (const { left, width } of copies(shape)) {
    const size = { width: width * drawing.width, height: drawing.height };
    paper.save();
    paper.translate(left * drawing.width, 0);
    paper.beginPath();
    paper.rect(0, 0, size.width, size.height);
    paper.clip();
    paintOutlines(paper, marked, size, part);
    paper.restore();
  }
  return drawing;
}

/**
 * The same as PNG to keep: what it is, the values of its regions at that very moment, and the cautions beneath.
 *
 * @param {ReviewedRecording} review
 * @param {string} view
 * @param {Moment} moment of the frame that is drawn
 * @param {HTMLCanvasElement} drawing
 */
export async function saveMoment(review, view, moment, drawing) {
  const style = getComputedStyle(document.documentElement);
  const values = moment.regions.map((one) => `${one.name}\u00a0${valueText(one)}`).join(" · ");
  const contours = view === "grey" ? "" : words("review-still-contours", { percent: review.contours_percent.join(", ") });
  const recorded = words("review-recorded", { name: review.name, when: recordedAt(review) });
  const inPercent = view !== "grey" && moment.reference?.flag === "";
  const picture = pictureSheet({
    title: words("review-still-title", { name: review.name, seconds: numberText(moment.time_s, 1) }),
    panels: [{ picture: drawing, caption: "", ...(inPercent ? { ramp: percentRamp(review.full_scale_percent) } : {}) }],
    lines: [values, contours, recorded, words("review-caution")].filter((line) => line !== ""),
    ground: colourOf(style, "--ground"),
    ink: colourOf(style, "--ink"),
  });
  saveFile(await pngOf(picture), `${review.name}-${moment.time_s.toFixed(1)}s.png`);
}

/** @param {number} fullScale */
function percentRamp(fullScale) {
  const map = JSON.parse(element("percent-colours").textContent ?? "");
  const colours = Array.from({ length: RAMP_STEPS }, (_, step) => `rgb(${percentColour(map, (fullScale * step) / (RAMP_STEPS - 1), fullScale).join(" ")})`);
  return { colours, ticks: legendTicks(fullScale).map((percent) => ({ share: percent / fullScale, text: withUnit(numberText(percent, 0), "%") })) };
}
