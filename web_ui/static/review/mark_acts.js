/** @import { Acts } from "../page/acts.js" */
/** @import { Point, Region } from "../picture/region_text.js" */
/** @import { Marks, ReviewedRecording, ReviewRegion } from "./review_types.js" */

import { nextName, parsedRegion, rectangleBetween, regionText, renamed, squareAround } from "../picture/region_text.js";
import { words } from "../page/words.js";
import { recordingPath } from "./recording_path.js";

const REFERENCE = "Reference";

/** Reference and regions of a review: each change is kept beside the recording, and can be taken back. */
export class MarkActs {
  /**
   * @param {Acts} acts
   * @param {() => ReviewedRecording | null} review
   * @param {() => number} at_s the moment on the screen
   * @param {() => Promise<void>} changed
   */
  constructor(acts, review, at_s, changed) {
    this.acts = acts;
    this.review = review;
    this.at_s = at_s;
    this.changed = changed;
  }

  /** @returns {Marks} */
  marks() {
    const review = this.review();
    return { reference: review?.reference ?? null, regions: review?.regions ?? [] };
  }

  taken() {
    const { reference, regions } = this.marks();
    return [...(reference === null ? [] : [reference]), ...regions].map(({ region }) => parsedRegion(region).name);
  }

  /** A touch: the reference where there is none yet, a small region after that. @param {Point} at */
  touched(at) {
    const review = this.review();
    if (review === null) return;
    if (review.reference === null) void this.setReference(squareAround(REFERENCE, at, review));
    else void this.add(squareAround(this.freeName(), at, review));
  }

  /** @param {Point} a @param {Point} b */
  drawnRound(a, b) {
    void this.add(rectangleBetween(this.freeName(), a, b));
  }

  freeName() {
    return nextName([REFERENCE, ...this.taken()]);
  }

  /** @param {Region} region */
  setReference(region) {
    const { regions } = this.marks();
    const text = regionText(region);
    const others = regions.filter((one) => parsedRegion(one.region).name !== region.name);
    return this.keep({ reference: this.seen(text), regions: others }, words("review-reference-set"));
  }

  /** @param {Region} region */
  add(region) {
    const { reference, regions } = this.marks();
    return this.keep({ reference, regions: [...regions, this.seen(regionText(region))] }, words("review-region-added", { name: region.name }));
  }

  /** @param {string} text */
  remove(text) {
    const { reference, regions } = this.marks();
    const kept = { reference: reference?.region === text ? null : reference, regions: regions.filter((one) => one.region !== text) };
    return this.keep(kept, words("review-region-removed", { name: parsedRegion(text).name }));
  }

  /** @param {string} text */
  makeReference(text) {
    const { regions } = this.marks();
    const found = regions.find((one) => one.region === text);
    if (found === undefined) return Promise.resolve();
    return this.keep({ reference: found, regions: regions.filter((one) => one !== found) }, words("review-reference-set"));
  }

  /** @param {string} text @param {string} name */
  rename(text, name) {
    if (parsedRegion(text).name === name) return Promise.resolve();
    if (this.taken().includes(name)) {
      this.acts.line.say(words("review-name-taken", { name }));
      return Promise.resolve();
    }
    const called = (/** @type {ReviewRegion} */ one) => (one.region === text ? { ...one, region: renamed(text, name) } : one);
    const { reference, regions } = this.marks();
    return this.keep({ reference: reference && called(reference), regions: regions.map(called) }, words("review-region-renamed", { name }));
  }

  /** @param {string} region @returns {ReviewRegion} */
  seen(region) {
    return { region, seen_at_s: Math.round(this.at_s() * 1000) / 1000 };
  }

  /** @param {Marks} marks @param {string} said */
  async keep(marks, said) {
    const review = this.review();
    if (review === null) return;
    const { name, marked } = review;
    const before = this.marks();
    const { done } = await this.acts.run("PUT", recordingPath(name, "marks"), marks);
    if (!done) return;
    await this.changed();
    this.acts.line.say(said, [{ word: words("review-undo"), run: () => void this.putBack(name, marked ? before : null) }]);
  }

  /** @param {string} name @param {Marks | null} marks null: those marked while recording */
  async putBack(name, marks) {
    if (marks === null) await this.acts.run("DELETE", recordingPath(name, "marks"));
    else await this.acts.run("PUT", recordingPath(name, "marks"), marks);
    await this.changed();
  }
}
