/** @import { DeviceState } from "../page/device_state.js" */
/** @import { Page } from "../page/place.js" */
/** @import { Commissioning, StepName } from "./commissioning_types.js" */

import { made } from "../page/made.js";
import { words } from "../page/words.js";
import { nameOf, SHEETS, STEPS } from "./step_words.js";
import { ageDays, isOutside, isTooOld } from "./what_next.js";

/** @typedef {{word: string, kind: "good" | "due" | "bad" | "runs" | ""}} Standing */

/** The check and every step in their order, each with how it stands; one touch from what it is. */
export class StepList {
  /**
   * @param {HTMLElement} place
   * @param {Page} page
   */
  constructor(place, page) {
    this.place = place;
    this.page = page;
    this.text = "";
  }

  /**
   * @param {Commissioning} known
   * @param {string} chosen
   */
  show(known, chosen) {
    const running = this.page.state()?.walk ?? null;
    const rows = SHEETS.map((name) => ({ name, ...standing(known, name, running) }));
    const text = JSON.stringify([rows, chosen, document.documentElement.lang]);
    if (text === this.text) return;
    this.text = text;
    const held = document.activeElement?.getAttribute("data-sheet-name") ?? "";
    this.place.replaceChildren(...rows.map((row) => this.row(row, chosen)));
    const again = held === "" ? null : this.place.querySelector(`[data-sheet-name="${held}"]`);
    if (again instanceof HTMLElement) again.focus({ preventScroll: true });
  }

  /**
   * @param {{name: (typeof SHEETS)[number]} & Standing} row
   * @param {string} chosen
   */
  row({ name, word, kind }, chosen) {
    const link = made("a", "step-row", made("span", "step-name", nameOf(name)), made("span", "step-standing", word));
    link.href = `#commissioning/${name}`;
    link.setAttribute("data-sheet-name", name);
    if (kind !== "") link.classList.add(`stands-${kind}`);
    if (name === chosen) link.setAttribute("aria-current", "true");
    return made("li", STEPS[0] === name || name === "history" ? "begins-group" : "", link);
  }
}

/**
 * @param {Commissioning} known
 * @param {string} name
 * @param {DeviceState["walk"]} running
 * @returns {Standing}
 */
export function standing(known, name, running) {
  if (running?.running && running.walk === name) return { word: words("commissioning-in-progress"), kind: "runs" };
  if (name === "history" || name === "papers") return { word: "", kind: "" };
  return name === "check" ? checkStanding(known) : stepStanding(known, /** @type {StepName} */ (name));
}

/** @param {Commissioning} known @param {StepName} step @returns {Standing} */
function stepStanding(known, step) {
  const line = known.steps.find((one) => one.step === step);
  if (known.proposal?.step === step) return { word: words("commissioning-look-at-it"), kind: "due" };
  if (line === undefined) return { word: "", kind: "" };
  if (line.made_at === "") return { word: words("commissioning-never"), kind: "due" };
  if (isOutside(known, step)) return { word: words("commissioning-failing"), kind: "bad" };
  if (isTooOld(known, step)) return { word: words("commissioning-old"), kind: "due" };
  return { word: words("commissioning-age", { days: ageDays(known, step) ?? 0 }), kind: "good" };
}

/** @param {Commissioning} known @returns {Standing} */
function checkStanding(known) {
  const last = known.checks[0];
  if (last === undefined) return { word: words("commissioning-never"), kind: "due" };
  if (!last.passed) return { word: words("commissioning-failed"), kind: "bad" };
  const today = last.made_at.slice(0, 10) === known.now.slice(0, 10);
  const days = Math.max(0, Math.round((Date.parse(known.now.slice(0, 10)) - Date.parse(last.made_at.slice(0, 10))) / 86_400_000));
  return { word: `${words("commissioning-passed")} · ${words("commissioning-age", { days })}`, kind: today ? "good" : "due" };
}
