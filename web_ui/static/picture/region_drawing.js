/** @import { Point, Region } from "./region_text.js" */

import { lineAlong, polygonOf, simplified } from "./region_text.js";

/** How many corners a region may have, as the device takes them. */
const MOST_POINTS = 200;

/** A corner this near to the first one closes the polygon, as a share of what is shown: a gloved finger's width. */
const CLOSES_WITHIN = 0.035;

/** A path drawn by a finger keeps what is larger than this share of what is shown. */
const KEPT_DETAIL = 0.004;

/**
 * A polygon or a line that is being drawn, corner by corner, or by a finger that follows the tissue. Knows nothing of the page.
 * Every touch and every stroke can be taken back; nothing is asked of the device before it is done.
 */
export class RegionDrawing {
  /**
   * @param {"polygon" | "line"} shape
   * @param {number} lineWidth_px
   */
  constructor(shape, lineWidth_px) {
    this.shape = shape;
    this.lineWidth_px = lineWidth_px;
    /** @type {Point[][]} what each touch or stroke added */
    this.steps = [];
    /** @type {Point[]} the stroke under the finger */
    this.stroke = [];
    this.done = false;
  }

  /** @returns {Point[]} */
  get points() {
    return this.steps.flat();
  }

  get fewest() {
    return this.shape === "polygon" ? 3 : 2;
  }

  get complete() {
    return this.points.length >= this.fewest;
  }

  /**
   * A touch: the next corner; near the first one of a polygon, or twice at one place, its end.
   *
   * @param {Point} at
   * @param {number} shownWidth_px how much of the sensor is shown: what counts as near
   */
  touch(at, shownWidth_px) {
    const [first, last] = [this.points[0], this.points.at(-1)];
    const near = (/** @type {Point | undefined} */ point) => point !== undefined && Math.hypot(point.x - at.x, point.y - at.y) <= CLOSES_WITHIN * shownWidth_px;
    if (this.complete && ((this.shape === "polygon" && near(first)) || near(last))) this.done = true;
    else if (!near(last)) this.add([at]);
  }

  /**
   * A finger follows an outline or a vessel.
   *
   * @param {Point} from
   * @param {Point} to
   * @param {boolean} lifted
   * @param {number} shownWidth_px
   */
  follow(from, to, lifted, shownWidth_px) {
    if (this.stroke.length === 0) this.stroke.push(from);
    const last = this.stroke.at(-1);
    if (last === undefined || last.x !== to.x || last.y !== to.y) this.stroke.push(to);
    if (!lifted) return;
    this.add(simplified(this.stroke, KEPT_DETAIL * shownWidth_px));
    this.stroke = [];
  }

  /** @param {Point[]} points */
  add(points) {
    const room = MOST_POINTS - this.points.length;
    if (room > 0) this.steps.push(points.slice(0, room));
  }

  /** Takes the last touch or stroke back. */
  undo() {
    this.stroke = [];
    this.steps.pop();
  }

  /**
   * As far as it is drawn, null where there is nothing to show yet.
   *
   * @param {string} name
   * @returns {Region | null}
   */
  region(name) {
    const points = [...this.points, ...this.stroke];
    if (points.length < 2) return null;
    return this.shape === "polygon" && points.length > 2 ? polygonOf(name, points) : lineAlong(name, points, this.lineWidth_px);
  }
}
