/** @import { Page } from "../page/place.js" */
/** @import { Shape } from "../picture/picture_geometry.js" */
/** @import { RegionActs } from "../picture/region_acts.js" */
/** @import { RegionMarks } from "../picture/region_marks.js" */
/** @import { Point } from "../picture/region_text.js" */

import { element } from "../page/element.js";
import { put } from "../page/words.js";
import { windowOf } from "../picture/picture_geometry.js";
import { RegionDrawing } from "../picture/region_drawing.js";
import { lineWidthPx, movedTo, nextName, parsedRegion, regionText } from "../picture/region_text.js";

/** What the picture's touches mean while a polygon or a line is drawn, or a region moved; a bar says so, and how to leave. */
export class RegionDrawer {
  /**
   * @param {Page} page
   * @param {RegionActs} regionActs
   * @param {RegionMarks} marks
   * @param {() => Shape | null} shape
   * @param {() => number | null} mmPerPx
   */
  constructor(page, regionActs, marks, shape, mmPerPx) {
    this.page = page;
    this.regionActs = regionActs;
    this.marks = marks;
    this.shape = shape;
    this.mmPerPx = mmPerPx;
    /** @type {RegionDrawing | null} */
    this.drawing = null;
    /** @type {string | null} the region that is being moved */
    this.moving = null;
    this.bar = element("drawing");
    this.words = element("drawing-words");
    this.doneButton = element("drawing-done", HTMLButtonElement);
    this.undoButton = element("drawing-undo", HTMLButtonElement);
    this.doneButton.onclick = () => this.finish();
    this.undoButton.onclick = () => this.back();
    element("drawing-cancel").onclick = () => this.leave();
    element("draw-polygon").onclick = () => this.begin("polygon");
    element("draw-line").onclick = () => this.begin("line");
  }

  get active() {
    return this.drawing !== null || this.moving !== null;
  }

  /**
   * @param {"polygon" | "line"} shape
   * @param {Point} [from] its first corner
   */
  begin(shape, from) {
    const sensor = this.shape();
    if (sensor === null) return;
    this.page.sheets.closeAll();
    this.moving = null;
    this.drawing = new RegionDrawing(shape, lineWidthPx(sensor.width, this.mmPerPx()));
    if (from) this.drawing.add([from]);
    this.show();
    element("canvas").focus({ preventScroll: true });
  }

  /** @param {string} region */
  move(region) {
    this.page.sheets.closeAll();
    this.drawing = null;
    this.moving = region;
    this.show();
    element("canvas").focus({ preventScroll: true });
  }

  /** @param {Point} at */
  touched(at) {
    const sensor = this.shape();
    if (sensor === null) return;
    if (this.moving !== null) this.put(at, sensor);
    else {
      this.drawing?.touch(at, windowOf(sensor).width);
      this.show();
      if (this.drawing?.done) this.finish();
    }
  }

  /**
   * @param {Point} from
   * @param {Point} to
   * @param {boolean} lifted
   */
  dragged(from, to, lifted) {
    const sensor = this.shape();
    if (sensor === null) return;
    if (this.moving !== null) {
      if (lifted) this.put(to, sensor);
      else this.marks.sketch(regionText(movedTo(parsedRegion(this.moving), to, sensor)));
      return;
    }
    this.drawing?.follow(from, to, lifted, windowOf(sensor).width);
    this.show();
  }

  /**
   * @param {Point} at
   * @param {Shape} sensor
   */
  put(at, sensor) {
    const region = this.moving;
    this.leave();
    if (region !== null) void this.regionActs.move(region, regionText(movedTo(parsedRegion(region), at, sensor)));
  }

  finish() {
    if (!this.drawing?.complete) return;
    const region = this.drawing.region(nextName(this.regionActs.taken()));
    const mm = this.mmPerPx();
    const width = this.drawing.shape === "line" ? { px: this.drawing.lineWidth_px, mm: mm === null ? null : this.drawing.lineWidth_px * mm } : null;
    this.leave();
    if (region !== null) void this.regionActs.add(region, width);
  }

  /** The last corner, or stroke, was not meant. */
  back() {
    this.drawing?.undo();
    this.show();
  }

  /** Nothing was meant. */
  leave() {
    this.drawing = null;
    this.moving = null;
    this.show();
  }

  /** The picture was drawn anew, or the finger given away. */
  show() {
    this.bar.hidden = !this.active;
    this.doneButton.hidden = this.undoButton.hidden = this.drawing === null;
    document.body.classList.toggle("drawing", this.active);
    this.marks.sketch(sketchOf(this.drawing));
    if (this.moving !== null) put(this.words, "live-move-words", { name: parsedRegion(this.moving).name });
    if (this.drawing === null) return;
    this.doneButton.disabled = !this.drawing.complete;
    this.undoButton.disabled = this.drawing.points.length === 0;
    if (this.drawing.shape === "polygon") put(this.words, "live-polygon-words", { corners: this.drawing.points.length });
    else put(this.words, "live-line-words", { points: this.drawing.points.length });
  }
}

/** @param {RegionDrawing | null} drawing a single corner shows as a dot */
function sketchOf(drawing) {
  if (drawing === null) return null;
  const region = drawing.region("new");
  if (region !== null) return regionText(region);
  const [corner] = drawing.points;
  return corner === undefined ? null : `new:${corner.x - 4},${corner.y - 4},9,9`;
}
