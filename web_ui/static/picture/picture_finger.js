/** @import { Point, Shape } from "./picture_geometry.js" */
/** @import { PictureZoom } from "./picture_zoom.js" */

import { halfAt, sensorPoint } from "./picture_geometry.js";
import { HOLD_MS, PictureTouches } from "./picture_touches.js";

/** How far the arrow keys move the cross, as a share of the picture. */
const KEY_STEP = 0.02;

/** How much closer one press of + or one notch of a wheel brings the picture. */
export const ZOOM_STEP = 1.25;

/**
 * @typedef {object} Meant
 * @property {(at: Point) => void} touch
 * @property {(at: Point) => void} hold
 * @property {(from: Point, to: Point, done: boolean) => void} drag
 * @property {() => void} given the finger was taken away: nothing was meant
 * @property {() => void} [back] the key that takes the last step back
 * @property {() => void} [leave] the key that leaves what was begun
 */

/**
 * One finger, pen, mouse or the arrow keys on the picture, turned into points of the sensor; two fingers, the wheel, + and - bring it
 * closer.
 */
export class PictureFinger {
  /**
   * @param {HTMLElement} picture
   * @param {HTMLElement} canvas
   * @param {() => Shape | null} shape
   * @param {Meant} meant
   * @param {PictureZoom | null} [zoom] null where two fingers mean nothing
   */
  constructor(picture, canvas, shape, meant, zoom = null) {
    this.picture = picture;
    this.canvas = canvas;
    this.shape = shape;
    this.meant = meant;
    this.zoom = zoom;
    /** @type {Map<number, Point>} every finger that is down */
    this.fingers = new Map();
    this.touches = new PictureTouches();
    this.pointer = -1;
    this.half = 0;
    this.timer = 0;
    this.cross = { x: 0.5, y: 0.5 };
    this.listen();
  }

  listen() {
    const { canvas } = this;
    canvas.addEventListener("pointerdown", (event) => this.down(event));
    canvas.addEventListener("pointermove", (event) => {
      if (this.fingers.has(event.pointerId)) this.fingers.set(event.pointerId, clientPoint(event));
      if (event.pointerId === this.pointer) this.act(this.touches.move(clientPoint(event)));
      else this.pinch();
    });
    canvas.addEventListener("pointerup", (event) => {
      this.lifted(event);
      if (event.pointerId !== this.pointer) return;
      this.act(this.touches.up(clientPoint(event)));
      this.end();
    });
    canvas.addEventListener("pointercancel", (event) => {
      this.lifted(event);
      if (event.pointerId === this.pointer) this.giveUp();
    });
    canvas.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener("keydown", (event) => this.key(event));
    canvas.addEventListener("focus", () => this.placeCross());
    addEventListener("blur", () => {
      this.fingers.clear();
      this.zoom?.leave();
      this.giveUp();
    });
  }

  /** @param {PointerEvent} event */
  down(event) {
    if (event.button !== 0) return;
    const shape = this.shape();
    this.fingers.set(event.pointerId, clientPoint(event));
    this.canvas.setPointerCapture(event.pointerId);
    // a second finger means neither a touch nor a region, also while it is lifted again
    if (this.fingers.size > 1 || shape === null) {
      this.giveUp();
      const two = this.two();
      if (two !== null) this.zoom?.take(two);
      return;
    }
    this.pointer = event.pointerId;
    this.half = halfAt(shape, this.shareAt(clientPoint(event)));
    this.touches.down(clientPoint(event), event.timeStamp);
    this.timer = window.setTimeout(() => this.act(this.touches.rested(event.timeStamp + HOLD_MS)), HOLD_MS);
  }

  /** @returns {[Point, Point] | null} shares of the picture under the first two fingers */
  two() {
    const [a, b] = this.fingers.values();
    return a === undefined || b === undefined ? null : [this.shareAt(a), this.shareAt(b)];
  }

  pinch() {
    const two = this.two();
    if (two !== null) this.zoom?.follow(two);
  }

  /** @param {PointerEvent} event */
  lifted(event) {
    this.fingers.delete(event.pointerId);
    const two = this.two();
    if (two === null) this.zoom?.leave();
    else this.zoom?.take(two);
  }

  /** @param {WheelEvent} event */
  wheel(event) {
    if (this.zoom === null) return;
    event.preventDefault();
    this.zoom.closer(ZOOM_STEP ** (event.deltaY < 0 ? 1 : -1), this.shareAt(clientPoint(event)));
  }

  giveUp() {
    if (this.pointer === -1) return;
    this.touches.cancel();
    this.end();
    this.meant.given();
  }

  end() {
    clearTimeout(this.timer);
    this.pointer = -1;
  }

  /** @param {import("./picture_touches.js").Meaning} meaning */
  act(meaning) {
    if (meaning.kind === "nothing") return;
    if (meaning.kind === "touch") this.pass(this.meant.touch, meaning.at);
    if (meaning.kind === "hold") this.pass(this.meant.hold, meaning.at);
    if (meaning.kind === "drag") {
      const from = this.sensorAt(meaning.from);
      const to = this.sensorAt(meaning.to);
      if (from !== null && to !== null) this.meant.drag(from, to, meaning.done);
    }
  }

  /**
   * @param {(at: Point) => void} meant
   * @param {Point} at
   */
  pass(meant, at) {
    const point = this.sensorAt(at);
    if (point !== null) meant(point);
  }

  /** @param {Point} at in the window */
  sensorAt(at) {
    const shape = this.shape();
    return shape === null ? null : sensorPoint(shape, this.shareAt(at), this.half);
  }

  /**
   * @param {Point} at in the window
   * @returns {Point} share of the picture
   */
  shareAt(at) {
    const box = this.picture.getBoundingClientRect();
    return { x: (at.x - box.left) / box.width, y: (at.y - box.top) / box.height };
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (this.crossKey(event) || this.zoomKey(event.key) || this.actKey(event.key)) event.preventDefault();
  }

  /** @param {KeyboardEvent} event @returns {boolean} whether it was one */
  crossKey(event) {
    const step = event.shiftKey ? KEY_STEP * 5 : KEY_STEP;
    /** @type {Record<string, [number, number]>} */
    const ways = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    const way = ways[event.key];
    if (way !== undefined) this.moveCross(...way);
    return way !== undefined;
  }

  /** @param {string} key */
  zoomKey(key) {
    if (this.zoom === null) return false;
    const closer = { "+": ZOOM_STEP, "=": ZOOM_STEP, "-": 1 / ZOOM_STEP }[key];
    if (closer !== undefined) this.zoom.closer(closer, this.cross);
    else if (key === "0") this.zoom.whole();
    else return false;
    return true;
  }

  /** @param {string} key */
  actKey(key) {
    const shape = this.shape();
    const at = shape && sensorPoint(shape, this.cross);
    /** @type {Record<string, (() => void) | undefined>} */
    const acts = {
      Enter: at ? () => this.meant.touch(at) : undefined,
      m: at ? () => this.meant.hold(at) : undefined,
      Backspace: this.meant.back,
      Escape: this.meant.leave,
    };
    const act = acts[{ " ": "Enter", ContextMenu: "m" }[key] ?? key];
    act?.();
    return act !== undefined;
  }

  /**
   * At the edge of what is shown the picture moves instead.
   *
   * @param {number} across
   * @param {number} down
   */
  moveCross(across, down) {
    const to = { x: this.cross.x + across, y: this.cross.y + down };
    this.cross = { x: within(to.x), y: within(to.y) };
    if (to.x !== this.cross.x || to.y !== this.cross.y) this.zoom?.move(to.x - this.cross.x, to.y - this.cross.y);
    this.placeCross();
  }

  placeCross() {
    this.picture.style.setProperty("--cross-x", `${this.cross.x * 100}%`);
    this.picture.style.setProperty("--cross-y", `${this.cross.y * 100}%`);
  }
}

/**
 * @param {MouseEvent} event
 * @returns {Point}
 */
function clientPoint(event) {
  return { x: event.clientX, y: event.clientY };
}

/** @param {number} share */
function within(share) {
  return Math.min(Math.max(share, 0), 0.999);
}
