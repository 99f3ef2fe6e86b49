/**
 * One finger on the picture, told apart: a touch, a drag, or a hold. Knows nothing of the page: points go in with their times, and
 * what they meant comes out.
 *
 * @typedef {{x: number, y: number}} Point
 * @typedef {{kind: "touch", at: Point} | {kind: "hold", at: Point} | {kind: "drag", from: Point, to: Point, done: boolean}
 *   | {kind: "nothing"}} Meaning
 */

/** A finger that moved less than this has not moved, in CSS pixels. */
const STILL_PX = 14;

/** How long a finger rests before it means the menu. */
export const HOLD_MS = 550;

const NOTHING = /** @type {const} */ ({ kind: "nothing" });

export class PictureTouches {
  constructor() {
    /** @type {{from: Point, dragging: boolean, spent: boolean, downMs: number} | null} */
    this.finger = null;
  }

  /**
   * @param {Point} at
   * @param {number} nowMs
   */
  down(at, nowMs) {
    this.finger = { from: at, dragging: false, spent: false, downMs: nowMs };
  }

  /**
   * @param {Point} at
   * @returns {Meaning}
   */
  move(at) {
    const finger = this.finger;
    if (finger === null || finger.spent) return NOTHING;
    if (!finger.dragging && Math.hypot(at.x - finger.from.x, at.y - finger.from.y) < STILL_PX) return NOTHING;
    finger.dragging = true;
    return { kind: "drag", from: finger.from, to: at, done: false };
  }

  /**
   * To be called some time after HOLD_MS.
   *
   * @param {number} nowMs
   * @returns {Meaning}
   */
  rested(nowMs) {
    const finger = this.finger;
    if (finger === null || finger.spent || finger.dragging || nowMs - finger.downMs < HOLD_MS) return NOTHING;
    finger.spent = true;
    return { kind: "hold", at: finger.from };
  }

  /**
   * @param {Point} at
   * @returns {Meaning}
   */
  up(at) {
    const finger = this.finger;
    this.finger = null;
    if (finger === null || finger.spent) return NOTHING;
    if (finger.dragging) return { kind: "drag", from: finger.from, to: at, done: true };
    return { kind: "touch", at: finger.from };
  }

  /** The finger was taken away by the system: nothing was meant. */
  cancel() {
    this.finger = null;
  }
}
