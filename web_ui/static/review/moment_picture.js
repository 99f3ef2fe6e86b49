/** @import { Acts } from "../page/acts.js" */
/** @import { Shape } from "../picture/picture_geometry.js" */

import { element } from "../page/element.js";
import { copies, windowOf } from "../picture/picture_geometry.js";
import { NewestWins } from "./newest_wins.js";
import { fetchPatiently } from "./patient_fetch.js";
import { recordingPath } from "./recording_path.js";

/**
 * @typedef {{name: string, at_s: number, view: string, whole: boolean, contours: string}} Wanted
 * @typedef {{time_s: number, regions: string[], place: string}} Drawn the frame that is on the screen, and where the regions lie in it
 */

/** The picture of a moment: half its size while a finger moves, whole when it rests. The newest wish wins. */
export class MomentPicture {
  /**
   * @param {Acts} acts
   * @param {() => Shape | null} shape
   * @param {{drawn: (drawn: Drawn) => void}} listener
   */
  constructor(acts, shape, listener) {
    this.acts = acts;
    this.shape = shape;
    this.listener = listener;
    this.canvas = element("review-canvas", HTMLCanvasElement);
    const paper = this.canvas.getContext("2d", { alpha: false });
    if (paper === null) throw new Error("this browser cannot draw on a canvas");
    this.paper = paper;
    /** @type {ImageBitmap | null} the newest picture, whole */
    this.bitmap = null;
    this.fetching = new NewestWins((/** @type {Wanted} */ wanted) => this.fetched(wanted));
  }

  /** @param {Wanted} wanted */
  show(wanted) {
    this.fetching.ask(wanted);
  }

  close() {
    this.fetching.forget();
  }

  /** The part of it that is looked at; side by side, the same part of both. */
  draw() {
    const { bitmap, canvas, paper } = this;
    const shape = this.shape();
    if (bitmap === null || shape === null) return;
    if (canvas.width !== bitmap.width || canvas.height !== bitmap.height) {
      canvas.width = bitmap.width;
      canvas.height = bitmap.height;
    }
    const part = windowOf(shape);
    const [x, y, across, down] = [part.x / shape.width, part.y / shape.height, part.width / shape.width, part.height / shape.height];
    for (const { left, width } of copies(shape)) {
      const from = [(left + x * width) * bitmap.width, y * bitmap.height, across * width * bitmap.width, down * bitmap.height];
      const [fromX = 0, fromY = 0, fromWidth = 1, fromHeight = 1] = from;
      paper.drawImage(bitmap, fromX, fromY, fromWidth, fromHeight, left * canvas.width, 0, width * canvas.width, canvas.height);
    }
  }

  /** @param {Wanted} wanted */
  async fetched(wanted) {
    const { name, at_s, view, whole, contours } = wanted;
    const query = new URLSearchParams({ at_s: String(at_s), view, size: whole ? "full" : "half", contours });
    try {
      const answer = await fetchPatiently(`${recordingPath(name, "picture.jpg")}?${query}`);
      const bitmap = await createImageBitmap(await answer.blob());
      this.bitmap?.close();
      this.bitmap = bitmap;
      this.draw();
      this.listener.drawn({
        time_s: Number(answer.headers.get("X-Time-S")),
        regions: JSON.parse(answer.headers.get("X-Regions") ?? "[]"),
        place: answer.headers.get("X-Place") ?? "still",
      });
    } catch (error) {
      this.fetching.forget();
      this.acts.failed(error);
    }
  }
}
