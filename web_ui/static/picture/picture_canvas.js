/** @import { PictureHeader } from "../page/device_state.js" */
/** @import { Freshness } from "./freshness.js" */

import { parsedPicture } from "./picture_message.js";

/**
 * @typedef {object} Arrived
 * @property {PictureHeader} header
 * @property {Uint8Array<ArrayBuffer>} jpeg
 * @property {number} ageMs
 * @property {{steady: number, wall: number}} received
 */

/** Draws pictures as they come: decoded away from the page's thread, newest wins, told to the device once on the screen. */
export class PictureCanvas {
  /**
   * @param {HTMLCanvasElement} canvas
   * @param {Freshness} freshness
   * @param {{drawn: (header: PictureHeader) => void, passedOver: (header: PictureHeader) => void,
   *   failed: (error: unknown) => void}} listener
   */
  constructor(canvas, freshness, listener) {
    const paper = canvas.getContext("2d", { alpha: false });
    if (paper === null) throw new Error("this browser cannot draw on a canvas");
    this.canvas = canvas;
    this.paper = paper;
    this.freshness = freshness;
    this.listener = listener;
    /** @type {Arrived | null} */
    this.waiting = null;
    this.decoding = false;
    /** @type {{arrived: Arrived, bitmap: ImageBitmap} | null} */
    this.ready = null;
  }

  /** @param {ArrayBuffer} message */
  offer(message) {
    const received = this.freshness.stamp();
    try {
      const arrived = { ...parsedPicture(message), received };
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
    this.decoding = true;
    try {
      const bitmap = await createImageBitmap(new Blob([arrived.jpeg], { type: "image/jpeg" }));
      this.put(arrived, bitmap);
    } catch (error) {
      this.listener.passedOver(arrived.header);
      this.listener.failed(error);
    } finally {
      this.decoding = false;
      void this.decode();
    }
  }

  /**
   * @param {Arrived} arrived
   * @param {ImageBitmap} bitmap
   */
  put(arrived, bitmap) {
    if (this.ready === null) requestAnimationFrame(() => this.draw());
    else {
      this.ready.bitmap.close();
      this.listener.passedOver(this.ready.arrived.header);
    }
    this.ready = { arrived, bitmap };
  }

  draw() {
    if (this.ready === null) return;
    const { arrived, bitmap } = this.ready;
    this.ready = null;
    if (this.canvas.width !== bitmap.width || this.canvas.height !== bitmap.height) {
      this.canvas.width = bitmap.width;
      this.canvas.height = bitmap.height;
    }
    this.paper.drawImage(bitmap, 0, 0);
    bitmap.close();
    this.freshness.drawn(arrived.ageMs, arrived.received);
    this.listener.drawn(arrived.header);
  }
}
