/** The legend's marks are those of the picture: eight rows and columns of `shared/live_picture.py`, written out by its own patterns. */

import assert from "node:assert/strict";
import { test } from "node:test";

import { dash, dot, stripe } from "../static/picture/legend_marks.js";

const PICTURE = {
  stripe: ["####    ", "###    #", "##    ##", "#    ###", "    ####", "   #### ", "  ####  ", " ####   "],
  dot: ["#-      ", "        ", "        ", "        ", "    #-  ", "        ", "        ", "        "],
  dash: ["        ", "#####   ", "-----   ", "        ", "        ", "#   ####", "-   ----", "        "],
};

/**
 * @param {(row: number, column: number) => number | null} luma
 * @param {Record<string, string>} inks
 */
function drawn(luma, inks) {
  return Array.from({ length: 8 }, (_, row) =>
    Array.from({ length: 8 }, (_, column) => inks[String(luma(row, column))] ?? "?").join(""),
  );
}

test("stripes, dots and dashes are drawn as in the picture", () => {
  assert.deepEqual(drawn(stripe, { 255: "#", 30: " " }), PICTURE.stripe);
  assert.deepEqual(drawn(dot, { 165: "#", 55: "-", null: " " }), PICTURE.dot);
  assert.deepEqual(drawn(dash, { 185: "#", 45: "-", null: " " }), PICTURE.dash);
});
