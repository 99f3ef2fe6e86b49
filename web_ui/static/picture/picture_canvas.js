/** @import { PictureHeader } from "../page/device_state.js" */
/** @import { Freshness } from "./freshness.js" */
/** @import { Shape } from "./picture_geometry.js" */

import { copies, windowOf } from "./picture_geometry.js";
import { parsedPicture } from "./picture_message.js";

/**
 * @typedef {object} Arrived
 * @property {PictureHeader} header
 * @property {Uint8Array<ArrayBuffer>} jpeg
 * @property {number} ageMs
 * @property {{steady: number, wall: number}} received
 *
 * @typedef {{arrived: Arrived, bitmap: ImageBitmap}} Decoded
 *
 * @typedef {object} Listener
 * @property {(header: PictureHeader) => void} drawn
 * @property {(header: PictureHeader) => void} passedOver
 * @property {(error: unknown) => void} failed
 * @property {(sentMs: number, receivedMs: number) => number} onItsWayMs how long a picture was, sent at a moment of the device's clock
 * @property {(arrived: Arrived) => void} [held] a picture came while the canvas is frozen: it is not shown
 */

/** Draws pictures as they come: decoded away from the page's thread, newest wins, told to the device once on the screen. */
export class PictureCanvas {
  /**
   * @param {HTMLCanvasElement} canvas
   * @param {Freshness} freshness
   * @param {Listener} listener
   * @param {(header: PictureHeader) => Shape | null} [shape] which part is shown; by default all of it
   */
  constructor(canvas, freshness, listener, shape = () => null) {
    const paper = canvas.getContext("2d", { alpha: false });
    if (paper === null) throw new Error("this browser cannot draw on a canvas");
    this.canvas = canvas;
    this.paper = paper;
    this.freshness = freshness;
    this.listener = listener;
    this.shape = shape;
    this.frozen = false;
    /** @type {Arrived | null} */
    this.waiting = null;
    this.decoding = false;
    /** @type {Decoded | null} to be drawn with the screen's next picture */
    this.ready = null;
    /** @type {Decoded | null} on the screen, kept to be drawn again closer */
    this.onScreen = null;
  }

  /** @param {ArrayBuffer} message */
  offer(message) {
    const received = this.freshness.stamp();
    try {
      const { ageMs, header, jpeg } = parsedPicture(message);
      const onItsWay = this.listener.onItsWayMs(header.sensor_time_ns / 1e6 + ageMs, received.steady);
      const arrived = { ageMs: ageMs + onItsWay, header, jpeg, received };
      if (this.waiting !== null) this.listener.passedOver(this.waiting.header);
      this.waiting = arrived;
    } catch (error) {
      this.listener.failed(error);
      return;
    }
    void this.decode();
  }

  async decode() {
    if (this.decoding || this.waiting === null) return;
    const arrived = this.waiting;
    this.waiting = null;
    if (this.frozen) {
      this.listener.held?.(arrived);
      this.listener.passedOver(arrived.header);
      return;
    }
    this.decoding = true;
    try {
      const bitmap = await createImageBitmap(new Blob([arrived.jpeg], { type: "image/jpeg" }));
      this.put({ arrived, bitmap });
    } catch (error) {
      this.listener.passedOver(arrived.header);
      this.listener.failed(error);
    } finally {
      this.decoding = false;
      void this.decode();
    }
  }

  /** @param {Decoded} decoded */
  put(decoded) {
    if (this.ready === null) requestAnimationFrame(() => this.draw());
    else {
      this.ready.bitmap.close();
      this.listener.passedOver(this.ready.arrived.header);
    }
    this.ready = decoded;
  }

  draw() {
    if (this.ready === null) return;
    const { arrived, bitmap } = this.ready;
    if (this.frozen) {
      bitmap.close();
      this.ready = null;
      this.listener.held?.(arrived);
      this.listener.passedOver(arrived.header);
      return;
    }
    this.onScreen?.bitmap.close();
    this.onScreen = this.ready;
    this.ready = null;
    if (this.canvas.width !== bitmap.width || this.canvas.height !== bitmap.height) {
      this.canvas.width = bitmap.width;
      this.canvas.height = bitmap.height;
    }
    this.drawPart(this.onScreen);
    this.freshness.drawn(arrived.ageMs, arrived.received);
    this.listener.drawn(arrived.header);
  }

  /** Draws the picture on the screen again: another part of it is to be shown. */
  redraw() {
    if (this.onScreen !== null) this.drawPart(this.onScreen);
  }

  /** The picture on the screen stays while others come, until `melt`. */
  freeze() {
    this.frozen = true;
  }

  melt() {
    this.frozen = false;
  }

  /** @param {Decoded} decoded */
  drawPart({ arrived, bitmap }) {
    const shape = this.shape(arrived.header);
    if (shape === null || !shape.window) {
      this.paper.drawImage(bitmap, 0, 0);
      return;
    }
    const { x, y, width, height } = windowOf(shape);
    const all = copies(shape);
    const copyWidth = bitmap.width / all.length;
    const [across, down] = [copyWidth / shape.width, bitmap.height / shape.height];
    for (const index of all.keys()) {
      const left = index * copyWidth;
      this.paper.drawImage(bitmap, left + x * across, y * down, width * across, height * down, left, 0, copyWidth, bitmap.height);
    }
  }
}
