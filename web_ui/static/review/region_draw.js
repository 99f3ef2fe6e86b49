/** @import { Shape } from "../picture/picture_geometry.js" */
/** @import { RegionMarks } from "../picture/region_marks.js" */
/** @import { Point } from "../picture/region_text.js" */
/** @import { MarkActs } from "./mark_acts.js" */

import { element } from "../page/element.js";
import { put } from "../page/words.js";
import { windowOf } from "../picture/picture_geometry.js";
import { RegionDrawing } from "../picture/region_drawing.js";
import { lineWidthPx, regionText } from "../picture/region_text.js";

/** A polygon or a line drawn on the picture of a moment, corner by corner or along the tissue; a bar says so, and how to leave. */
export class RegionDraw {
  /**
   * @param {MarkActs} acts
   * @param {RegionMarks} marks
   * @param {() => Shape | null} shape
   * @param {() => number | null} mmPerPx
   */
  constructor(acts, marks, shape, mmPerPx) {
    this.acts = acts;
    this.marks = marks;
    this.shape = shape;
    this.mmPerPx = mmPerPx;
    /** @type {RegionDrawing | null} */
    this.drawing = null;
    this.bar = element("review-drawing");
    this.words = element("review-drawing-words");
    this.done = element("review-drawing-done", HTMLButtonElement);
    this.undo = element("review-drawing-undo", HTMLButtonElement);
    this.done.onclick = () => this.finish();
    this.undo.onclick = () => this.back();
    element("review-drawing-cancel").onclick = () => this.leave();
    element("review-draw-polygon").onclick = () => this.begin("polygon");
    element("review-draw-line").onclick = () => this.begin("line");
  }

  get active() {
    return this.drawing !== null;
  }

  /** @param {"polygon" | "line"} kind */
  begin(kind) {
    const sensor = this.shape();
    if (sensor === null) return;
    this.drawing = new RegionDrawing(kind, lineWidthPx(sensor.width, this.mmPerPx()));
    this.show();
    element("review-canvas").focus({ preventScroll: false });
  }

  /** @param {Point} at */
  touched(at) {
    const sensor = this.shape();
    if (sensor === null) return;
    this.drawing?.touch(at, windowOf(sensor).width);
    if (this.drawing?.done) this.finish();
    else this.show();
  }

  /** @param {Point} from @param {Point} to @param {boolean} lifted */
  dragged(from, to, lifted) {
    const sensor = this.shape();
    if (sensor === null) return;
    this.drawing?.follow(from, to, lifted, windowOf(sensor).width);
    this.show();
  }

  finish() {
    if (!this.drawing?.complete) return;
    const region = this.drawing.region(this.acts.freeName());
    this.leave();
    if (region !== null) void this.acts.add(region);
  }

  back() {
    this.drawing?.undo();
    this.show();
  }

  leave() {
    this.drawing = null;
    this.show();
  }

  show() {
    const { drawing } = this;
    this.bar.hidden = drawing === null;
    const region = drawing?.region("new") ?? null;
    const [corner] = drawing?.points ?? [];
    const dot = corner === undefined ? null : `new:${corner.x - 1},${corner.y - 1},3,3`;
    this.marks.sketch(region === null ? dot : regionText(region));
    if (drawing === null) return;
    this.done.disabled = !drawing.complete;
    this.undo.disabled = drawing.points.length === 0;
    if (drawing.shape === "polygon") put(this.words, "live-polygon-words", { corners: drawing.points.length });
    else put(this.words, "live-line-words", { points: drawing.points.length });
  }
}
