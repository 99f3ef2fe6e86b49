/** @import { Acts } from "../page/acts.js" */
/** @import { AnalysisJob, KeptAnalysis, ReviewedRecording } from "./review_types.js" */

import { button, element, write } from "../page/element.js";
import { said } from "../page/said.js";
import { words } from "../page/words.js";
import { nextStep } from "./next_step.js";
import { recordingPath } from "./recording_path.js";

/** What to do next; how far the analysis is, and its stop. */
export class AnalysisBar {
  /** @param {Acts} acts */
  constructor(acts) {
    this.acts = acts;
    this.text = element("review-next-text");
    this.buttons = element("review-next-acts");
    this.progress = element("review-progress", HTMLProgressElement);
    this.key = "";
  }

  /**
   * @param {ReviewedRecording} review
   * @param {KeptAnalysis | null} analysis
   * @param {AnalysisJob | null} job of this recording
   */
  show(review, analysis, job) {
    const step = nextStep(review, analysis, job);
    this.progress.hidden = step !== "running";
    if (job !== null) this.progress.value = job.done;
    const failed = job !== null && job.finished && job.error !== "" ? said(job.error) : "";
    const key = JSON.stringify([review.name, step, failed, review.injected_at_s === null, document.documentElement.lang]);
    if (key === this.key) return;
    this.key = key;
    write(this.text, [failed, STEP_TEXTS[step](), review.injected_at_s === null ? words("review-no-dye") : ""].filter((one) => one !== "").join(" "));
    this.buttons.replaceChildren(...this.acts_of(step, review.name));
  }

  /** @param {ReturnType<typeof nextStep>} step @param {string} name */
  acts_of(step, name) {
    const analyse = (/** @type {string} */ word, /** @type {boolean} */ maps) => button(word, () => void this.start(name, maps), "strong");
    switch (step) {
      case "analyse":
      case "again":
      case "reference":
        return [analyse(words("review-analyse"), false)];
      case "running":
        return [button(words("review-stop"), () => void this.stop(name))];
      case "maps":
        return [analyse(words("review-make-maps"), true)];
      default:
        return [];
    }
  }

  /** @param {string} name @param {boolean} maps */
  async start(name, maps) {
    await this.acts.run("POST", recordingPath(name, "analysis"), { maps }, this.buttons);
  }

  /** @param {string} name */
  async stop(name) {
    await this.acts.run("DELETE", recordingPath(name, "analysis"), undefined, this.buttons);
  }
}

/** @type {Record<ReturnType<typeof nextStep>, () => string>} */
const STEP_TEXTS = {
  nothing: () => words("review-next-nothing"),
  reference: () => words("review-next-reference"),
  touch: () => words("review-next-touch"),
  analyse: () => words("review-next-analyse"),
  again: () => words("review-next-again"),
  running: () => words("review-next-running"),
  maps: () => words("review-next-maps"),
  done: () => words("review-next-done"),
};
