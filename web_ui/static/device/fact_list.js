import { made } from "../page/made.js";

/**
 * Facts under one heading: what, and how it stands. Written anew only where something differs, so that a quiet page stays quiet.
 *
 * @typedef {{name: string, value: string, mark?: "loud" | "quiet"}} Fact
 */
export class FactList {
  /** @param {HTMLElement} place a definition list */
  constructor(place) {
    this.place = place;
    this.text = "";
  }

  /** @param {Fact[]} facts */
  show(facts) {
    const text = JSON.stringify(facts);
    if (text === this.text) return;
    this.text = text;
    this.place.replaceChildren(
      ...facts.map(({ name, value, mark }) => made("div", `fact ${mark === undefined ? "" : `fact-${mark}`}`.trim(), made("dt", "", name), made("dd", "", value))),
    );
  }
}
