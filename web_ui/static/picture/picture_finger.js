/** @import { Point, Shape } from "./picture_geometry.js" */

import { halfAt, sensorPoint } from "./picture_geometry.js";
import { HOLD_MS, PictureTouches } from "./picture_touches.js";

/** How far the arrow keys move the cross, as a share of the picture. */
const KEY_STEP = 0.02;

/**
 * @typedef {object} Meant
 * @property {(at: Point) => void} touch
 * @property {(at: Point) => void} hold
 * @property {(from: Point, to: Point, done: boolean) => void} drag
 * @property {() => void} given the finger was taken away: nothing was meant
 */

/** One finger, pen, mouse or the arrow keys on the picture, turned into points of the sensor. */
export class PictureFinger {
  /**
   * @param {HTMLElement} picture
   * @param {HTMLElement} canvas
   * @param {() => Shape | null} shape
   * @param {Meant} meant
   */
  constructor(picture, canvas, shape, meant) {
    this.picture = picture;
    this.canvas = canvas;
    this.shape = shape;
    this.meant = meant;
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
      if (event.pointerId === this.pointer) this.act(this.touches.move(clientPoint(event)));
    });
    canvas.addEventListener("pointerup", (event) => {
      if (event.pointerId !== this.pointer) return;
      this.act(this.touches.up(clientPoint(event)));
      this.end();
    });
    canvas.addEventListener("pointercancel", (event) => {
      if (event.pointerId === this.pointer) this.giveUp();
    });
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener("keydown", (event) => this.key(event));
    canvas.addEventListener("focus", () => this.placeCross());
    addEventListener("blur", () => this.giveUp());
  }

  /** @param {PointerEvent} event */
  down(event) {
    if (event.button !== 0) return;
    const shape = this.shape();
    // a second finger means neither a touch nor a region
    if (this.pointer !== -1 || shape === null) {
      this.giveUp();
      return;
    }
    this.pointer = event.pointerId;
    this.canvas.setPointerCapture(event.pointerId);
    this.half = halfAt(shape, this.shareAt(clientPoint(event)));
    this.touches.down(clientPoint(event), event.timeStamp);
    this.timer = window.setTimeout(() => this.act(this.touches.rested(event.timeStamp + HOLD_MS)), HOLD_MS);
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
    const step = event.shiftKey ? KEY_STEP * 5 : KEY_STEP;
    /** @type {Record<string, [number, number]>} */
    const ways = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    const way = ways[event.key];
    const shape = this.shape();
    if (way !== undefined) {
      this.cross = { x: within(this.cross.x + way[0]), y: within(this.cross.y + way[1]) };
      this.placeCross();
    } else if (shape !== null && (event.key === "Enter" || event.key === " ")) {
      this.meant.touch(sensorPoint(shape, this.cross));
    } else if (shape !== null && (event.key === "m" || event.key === "ContextMenu")) {
      this.meant.hold(sensorPoint(shape, this.cross));
    } else return;
    event.preventDefault();
  }

  placeCross() {
    this.picture.style.setProperty("--cross-x", `${this.cross.x * 100}%`);
    this.picture.style.setProperty("--cross-y", `${this.cross.y * 100}%`);
  }
}

/**
 * @param {PointerEvent} event
 * @returns {Point}
 */
function clientPoint(event) {
  return { x: event.clientX, y: event.clientY };
}

/** @param {number} share */
function within(share) {
  return Math.min(Math.max(share, 0), 0.999);
}
