/** @import { Acts } from "../page/acts.js" */
/** @import { DeviceState } from "../page/device_state.js" */
/** @import { Point, Region } from "./region_text.js" */

import { nextName, parsedRegion, rectangleBetween, regionText, renamed, squareAround } from "./region_text.js";

import { numberText } from "../page/number_text.js";
import { words } from "../page/words.js";

export const REFERENCE_NAME = "Reference";

/** What can be done with the reference and the regions, each with its undo. */
export class RegionActs {
  /**
   * @param {Acts} acts
   * @param {() => DeviceState | null} state
   */
  constructor(acts, state) {
    this.acts = acts;
    this.state = state;
    /** @type {Set<string>} names on their way to the device: two quick regions must not take the same one */
    this.given = new Set();
  }

  taken() {
    const state = this.state();
    return [REFERENCE_NAME, ...this.given, ...(state?.regions.map((region) => region.name) ?? [])];
  }

  /**
   * A touch: the reference where there is none yet, a small region after that.
   *
   * @param {Point} at
   */
  touched(at) {
    const state = this.state();
    if (state === null) return;
    if (state.reference === null) void this.setReference(squareAround(REFERENCE_NAME, at, state.camera));
    else void this.add(squareAround(nextName(this.taken()), at, state.camera));
  }

  /**
   * @param {Point} a
   * @param {Point} b
   */
  drawnRound(a, b) {
    void this.add(rectangleBetween(nextName(this.taken()), a, b));
  }

  /** @param {Region} region */
  async setReference(region) {
    const before = this.state()?.reference?.region ?? null;
    const { done } = await this.acts.run("PUT", "/reference", { region: regionText(region) });
    if (!done) return;
    this.acts.line.say(words("picture-reference-set"), [
      { word: words("picture-undo"), run: () => void this.putBackReference(before) },
    ]);
  }

  async removeReference() {
    const before = this.state()?.reference?.region ?? null;
    const { done } = await this.acts.run("DELETE", "/reference");
    if (!done) return;
    this.acts.line.say(words("picture-reference-removed"), [{ word: words("picture-undo"), run: () => void this.putBackReference(before) }]);
  }

  /** @param {string | null} before */
  async putBackReference(before) {
    if (before === null) await this.acts.run("DELETE", "/reference");
    else await this.acts.run("PUT", "/reference", { region: before });
  }

  /**
   * @param {Region} region
   * @param {{px: number, mm: number | null} | null} [width] of a line: its value is the mean over so much of the tissue along it
   */
  async add(region, width = null) {
    this.given.add(region.name);
    const { done } = await this.acts.run("PUT", "/regions", { region: regionText(region) });
    this.given.delete(region.name);
    if (!done) return;
    this.acts.line.say(addedWords(region.name, width), [
      { word: words("picture-undo"), run: () => void this.acts.run("DELETE", regionPath(region.name)) },
    ]);
  }

  /** @param {string} text */
  async remove(text) {
    const { name } = parsedRegion(text);
    const { done } = await this.acts.run("DELETE", regionPath(name));
    if (!done) return;
    this.acts.line.say(words("picture-region-removed", { name }), [
      { word: words("picture-undo"), run: () => void this.acts.run("PUT", "/regions", { region: text }) },
    ]);
  }

  /**
   * The same region elsewhere; its curve begins anew, and goes on where it was when this is undone.
   *
   * @param {string} from
   * @param {string} to
   */
  async move(from, to) {
    const isReference = this.state()?.reference?.region === from;
    const put = (/** @type {string} */ region) => this.acts.run("PUT", isReference ? "/reference" : "/regions", { region });
    const { done } = await put(to);
    if (!done) return;
    this.acts.line.say(words("picture-region-moved", { name: parsedRegion(to).name }), [{ word: words("picture-undo"), run: () => void put(from) }]);
  }

  /**
   * The new one is there before the old one goes, so that a loss between the two loses nothing.
   *
   * @param {string} text
   * @param {string} name
   */
  async rename(text, name) {
    const old = parsedRegion(text).name;
    if (name === old) return;
    if (this.taken().includes(name)) {
      this.acts.line.say(words("picture-name-taken", { name }));
      return;
    }
    const { done } = await this.acts.run("PUT", "/regions", { region: renamed(text, name) });
    if (done) await this.acts.run("DELETE", regionPath(old));
  }

  /** @param {string} text */
  async makeReference(text) {
    await this.setReference(parsedRegion(renamed(text, REFERENCE_NAME)));
  }
}

/**
 * @param {string} name
 * @param {{px: number, mm: number | null} | null} width
 */
function addedWords(name, width) {
  if (width === null) return words("picture-region-added", { name });
  if (width.mm === null) return words("picture-line-added-px", { name, width: width.px });
  return words("picture-line-added-mm", { name, width: numberText(width.mm, 1) });
}

/** @param {string} name */
function regionPath(name) {
  return `/regions/${encodeURIComponent(name)}`;
}
