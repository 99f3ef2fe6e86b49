/** @import { Comparison } from "./compare_types.js" */

import { pngOf } from "../charts/chart_picture.js";
import { colourOf } from "../charts/curve_look.js";
import { pictureSheet, ticksOf } from "../charts/picture_sheet.js";
import { said } from "../page/said.js";
import { momentText } from "../page/moment_text.js";
import { numberText } from "../page/number_text.js";
import { words } from "../page/words.js";
import { paintOutlines } from "../picture/painted_outlines.js";
import { markedOf, tickText } from "./picture_pair.js";

/** shared/compare/difference_colours.py over dark grey, as in compare.css. */
const CHANGE_COLOURS = ["#549ddf", "#282828", "#df863c"];

/**
 * All three pictures as PNG to keep, in the page's language, with regions, scales, marks and cautions.
 *
 * @param {Comparison} found
 * @param {ImageBitmap[]} images first, second, difference
 * @returns {Promise<Blob>}
 */
export function compareSheet(found, images) {
  const about = found.pictures;
  if (about === null) throw new Error("nothing can be a percentage here");
  const style = getComputedStyle(document.documentElement);
  const percents = JSON.parse(document.getElementById("percent-colours")?.textContent ?? "{}").colours.map((/** @type {number[]} */ one) => `rgb(${one.join(" ")})`);
  const [end, most] = [about.full_scale_percent, about.difference_full_scale_percent];
  const percent = { colours: percents, ticks: ticksOf({ low: 0, high: end, step: end / 2 }, (one) => tickText(one, false, "%")) };
  const change = { colours: CHANGE_COLOURS, ticks: ticksOf({ low: -most, high: most, step: most }, (one) => tickText(one, true, words("compare-points"))) };
  const captions = [words("compare-first-caption", { name: found.first }), words("compare-second-caption", { name: found.second }), words("compare-change-caption")];
  const panels = images.map((picture, index) => ({
    picture,
    caption: captions[index] ?? "",
    ramp: index === 2 ? change : percent,
    over: (/** @type {CanvasRenderingContext2D} */ paper, /** @type {number} */ width, /** @type {number} */ height) => (
      paintOutlines(paper, markedOf(about), { width, height }, { x: 0, y: 0, width: 2 * about.width, height: 2 * about.height })
    ),
  }));
  const lines = [
    words("compare-legend-percent"),
    words("compare-reference", { reference: found.reference }),
    words("compare-legend-change"),
    words("compare-legend-marks", { points: numberText(about.widest_u_percent, 0), share: numberText(100 * about.certain_share, 0) }),
    ...found.cautions.map(said),
    words("compare-made", { when: momentText(found.made_at) }),
    words("review-caution"),
  ];
  const title = words("compare-pair", { first: found.first, second: found.second });
  return pngOf(pictureSheet({ title, panels, lines, ground: colourOf(style, "--ground"), ink: colourOf(style, "--ink") }));
}
