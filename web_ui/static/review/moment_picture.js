/** @import { Acts } from "../page/acts.js" */

import { ask, Unpaired } from "../page/device_api.js";
import { element } from "../page/element.js";
import { NewestWins } from "./newest_wins.js";
import { recordingPath } from "./recording_path.js";

/**
 * @typedef {{name: string, at_s: number, view: string, whole: boolean, contours: string}} Wanted
 */

/** The picture of a moment: half its size while a finger moves, whole when it rests. The newest wish wins. */
export class MomentPicture {
  /**
   * @param {Acts} acts
   * @param {{drawn: (time_s: number, wanted: Wanted) => void, failed: (line: string) => void}} listener
   */
  constructor(acts, listener) {
    this.acts = acts;
    this.listener = listener;
    this.canvas = element("review-canvas", HTMLCanvasElement);
    const paper = this.canvas.getContext("2d", { alpha: false });
    if (paper === null) throw new Error("this browser cannot draw on a canvas");
    this.paper = paper;
    this.fetching = new NewestWins((/** @type {Wanted} */ wanted) => this.fetched(wanted));
  }

  /** @param {Wanted} wanted */
  show(wanted) {
    this.fetching.ask(wanted);
  }

  close() {
    this.fetching.forget();
  }

  /** @param {Wanted} wanted */
  async fetched(wanted) {
    const { name, at_s, view, whole, contours } = wanted;
    const query = new URLSearchParams({ at_s: String(at_s), view, size: whole ? "full" : "half", contours });
    try {
      const answer = await fetch(`/api/v1${recordingPath(name, "picture.jpg")}?${query}`, { cache: "no-store" });
      if (!answer.ok) {
        // asked again so that the refusal comes as one line
        await ask("GET", `${recordingPath(name, "moment")}?at_s=${at_s}`);
        throw new Error(`picture ${answer.status}`);
      }
      const bitmap = await createImageBitmap(await answer.blob());
      if (this.canvas.width !== bitmap.width || this.canvas.height !== bitmap.height) {
        this.canvas.width = bitmap.width;
        this.canvas.height = bitmap.height;
      }
      this.paper.drawImage(bitmap, 0, 0);
      bitmap.close();
      this.listener.drawn(Number(answer.headers.get("X-Time-S")), wanted);
    } catch (error) {
      this.fetching.forget();
      if (error instanceof Unpaired) this.acts.unpaired();
      else this.listener.failed(error instanceof Error ? error.message : String(error));
    }
  }
}
