/** @import { Point, Shape, Window } from "./picture_geometry.js" */

import { halfAt, MOST_ZOOM, sensorPlace, windowCloser, windowMoved, windowUnder } from "./picture_geometry.js";

/** Nearer to all of it than this means all of it. */
const WHOLE_BELOW = 1.02;

/** Which part of the sensor this tablet shows: its own affair, nobody else's picture changes. */
export class PictureZoom {
  /**
   * @param {() => Shape | null} shape what is shown now, the window in it
   * @param {() => void} changed
   */
  constructor(shape, changed) {
    this.shape = shape;
    this.changed = changed;
    /** @type {Window | null} null: all of it */
    this.window = null;
    /** @type {{held: [Point, Point], half: number} | null} */
    this.pinch = null;
  }

  /** How many times closer than all of it. */
  get factor() {
    const shape = this.shape();
    return shape === null || this.window === null ? 1 : shape.width / this.window.width;
  }

  get closest() {
    return this.factor >= MOST_ZOOM;
  }

  /**
   * Two fingers lie on the picture.
   *
   * @param {[Point, Point]} fingers shares of the shown picture
   */
  take(fingers) {
    const shape = this.shape();
    if (shape === null) return;
    const half = halfAt(shape, fingers[0]);
    this.pinch = { half, held: [sensorPlace(shape, fingers[0], half), sensorPlace(shape, fingers[1], half)] };
  }

  /** They moved. @param {[Point, Point]} fingers */
  follow(fingers) {
    const shape = this.shape();
    if (shape === null || this.pinch === null) return;
    this.put(shape, windowUnder(shape, this.pinch.held, fingers, this.pinch.half));
  }

  leave() {
    this.pinch = null;
  }

  /**
   * @param {number} factor
   * @param {Point} [at] share of the shown picture that stays where it is
   */
  closer(factor, at) {
    const shape = this.shape();
    if (shape === null) return;
    this.put(shape, windowCloser(shape, factor, at && sensorPlace(shape, at)));
  }

  /**
   * @param {number} across share of what is shown
   * @param {number} down
   */
  move(across, down) {
    const shape = this.shape();
    if (shape === null || this.window === null) return;
    this.put(shape, windowMoved(shape, across * this.window.width, down * this.window.height));
  }

  whole() {
    this.window = null;
    this.changed();
  }

  /**
   * @param {Shape} shape
   * @param {Window} window
   */
  put(shape, window) {
    this.window = shape.width / window.width < WHOLE_BELOW ? null : window;
    this.changed();
  }
}
