/** @import { Page } from "../page/place.js" */
/** @import { DyeGiven, DyeOfCase } from "./recordings_types.js" */

import { ask } from "../page/device_api.js";
import { button, element } from "../page/element.js";
import { made } from "../page/made.js";
import { said } from "../page/said.js";
import { numberText } from "../page/number_text.js";
import { words } from "../page/words.js";
import { amountText } from "./recording_text.js";

const LOOK_AGAIN_MS = 15_000;

/** Dye of the case so far beside the label's limit, each injection with the time since it, and what to bear in mind. */
export class DyeCard {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.place = element("dye-card");
    this.case = "";
    this.text = "";
    this.timer = 0;
    /** @type {DyeOfCase | null} as it was last heard */
    this.known = null;
    /** When the injection was marked whose dose is being entered, as the device says it; empty: the minutes in the field count. */
    this.doseOf = "";
    this.sum = made("div", "dye-sum");
    this.given = made("ul", "dye-given");
    this.warnings = made("ul", "dye-warnings");
    this.entry = made("div", "dye-entry");
    this.entries = made("details", "folded", made("summary", ""), this.entry);
    this.cautions = made("details", "folded");
    this.cautions.open = true;
    this.title = made("h3", "");
    this.title.id = "dye-title";
    this.place.append(this.title, this.sum, this.given, this.warnings, this.entries, this.cautions);
  }

  /** @param {string} code empty: no case's dye is shown */
  async open(code) {
    clearTimeout(this.timer);
    if (code !== this.case) {
      this.place.hidden = true;
      this.doseOf = "";
    }
    this.case = code;
    if (code === "") return;
    try {
      this.show(await ask("GET", this.path("")), code);
    } catch (error) {
      this.page.acts.failed(error);
    }
    if (code === this.case) this.timer = window.setTimeout(() => void this.open(code), LOOK_AGAIN_MS);
  }

  close() {
    clearTimeout(this.timer);
  }

  relabel() {
    this.text = "";
  }

  /** @param {string} more */
  path(more) {
    return `/dye/${encodeURIComponent(this.case)}${more}`;
  }

  /**
   * @param {DyeOfCase} dye
   * @param {string} code
   */
  show(dye, code) {
    if (code !== this.case) return;
    const fresh = this.place.hidden;
    this.known = dye;
    this.place.hidden = false;
    this.showSum(dye);
    const text = JSON.stringify([dye.injections.map((one) => ({ ...one, since_min: Math.floor(one.since_min) })), dye.warnings]);
    if (text !== this.text || fresh) {
      this.text = text;
      this.given.replaceChildren(...dye.injections.map((one) => this.injection(one)));
      this.warnings.replaceChildren(...warnings(dye).map((line) => made("li", "", said(line))));
    }
    if (fresh || this.entry.childElementCount === 0) this.offerEntries(dye);
  }

  /** @param {DyeOfCase} dye */
  showSum(dye) {
    this.title.textContent = words("dye-title");
    const amount = made("p", "dye-amount", words(dye.without_dose ? "dye-given-at-least" : "dye-given", {
      mg: amountText(dye.given_mg), ml: amountText(dye.volume_ml), concentration: amountText(dye.concentration_mg_per_ml),
    }));
    this.sum.replaceChildren(amount, made("p", "dye-limit", limitText(dye)));
    if (dye.limit_mg !== null) this.sum.append(meter(dye.given_mg, dye.limit_mg));
    if (dye.given_mg > 0) {
      this.sum.append(made("p", "quiet-words", words("dye-left", {
        left: rangeText(numberText(dye.left_least_mg, 1), numberText(dye.left_most_mg, 1)),
        shortest: amountText(dye.half_life_least_min), longest: amountText(dye.half_life_most_min),
      })));
    }
  }

  /** @param {DyeGiven} one */
  injection(one) {
    const amount = one.dose_mg === null ? words("dye-no-dose") : words("dye-mg", { mg: amountText(one.dose_mg) });
    const share = rangeText(amountText(Math.round(one.left_least_percent)), amountText(Math.round(one.left_most_percent)));
    const left = words("dye-left-share", { left: share });
    const row = made("li", "dye-row", made("strong", "dye-since", sinceText(one.since_min)), made("span", "", amount),
      made("span", "quiet-words", left), made("span", "quiet-words", one.line === null ? words("dye-from-recording") : words("dye-typed")));
    const what = `${amount}, ${sinceText(one.since_min)}`;
    if (one.dose_mg === null && one.since_min >= 0) {
      const enter = button(words("dye-enter-its-dose"), () => this.askDoseOf(one));
      enter.setAttribute("aria-label", `${words("dye-enter-its-dose")}: ${sinceText(one.since_min)}`);
      row.append(enter);
    }
    const entry = one.line === null ? `/marks/${encodeURIComponent(one.at)}` : `/entries/${one.line}`;
    const back = button(words("dye-take-back"), () => this.takeBack(entry, what), "faint");
    back.setAttribute("aria-label", words("dye-take-back-what", { what }));
    row.append(back);
    return row;
  }

  /** Opens the entries for the dose of an injection that is marked. @param {DyeGiven} one */
  askDoseOf(one) {
    this.entries.open = true;
    this.doseOf = one.at;
    field(this.entry, "dye-ago").value = String(Math.round(one.since_min));
    field(this.entry, "dye-dose").focus();
  }

  /** Minutes since the dose that is being entered: of a marked injection as the device counts them now, else as typed. */
  agoNow() {
    const marked = this.known?.injections.find((one) => one.at === this.doseOf && one.line === null);
    return marked?.since_min ?? Number(field(this.entry, "dye-ago").value.replace(",", "."));
  }

  /** @param {DyeOfCase} dye */
  offerEntries(dye) {
    const dose = numberForm("dye-dose", words("dye-dose-label"), words("dye-enter-dose"), [0.01, 500], (mg) => void this.enterDose(mg));
    const ago = made("input", "");
    ago.type = "number";
    ago.min = "0";
    ago.max = "10080";
    ago.step = "any";
    ago.value = "0";
    ago.id = "dye-ago";
    ago.oninput = () => {
      this.doseOf = "";
    };
    const agoLabel = made("label", "", words("dye-ago-label"));
    agoLabel.htmlFor = ago.id;
    dose.querySelector("button")?.before(agoLabel, ago);
    const mass = numberForm("dye-mass", words("dye-mass-label"), words("dye-enter-mass"), [1, 400], (kg) => void this.enterMass(kg));
    if (dye.body_mass_kg !== null) field(mass, "dye-mass").value = String(dye.body_mass_kg);
    this.entry.replaceChildren(dose, mass);
    /** @type {HTMLElement} */ (this.entries.firstElementChild).textContent = words("dye-entries");
    this.cautions.replaceChildren(made("summary", "", words("dye-cautions")), list(dye.cautions.map(said)));
  }

  /** @param {number} mg */
  async enterDose(mg) {
    const asked = { dose_mg: mg, minutes_ago: this.agoNow() };
    const { done, answer } = await this.page.acts.run("POST", this.path("/doses"), asked, this.entry);
    if (!done) return;
    this.doseOf = "";
    field(this.entry, "dye-dose").value = "";
    field(this.entry, "dye-ago").value = "0";
    this.show(answer, this.case);
    const line = Math.max(...answer.injections.map((/** @type {DyeGiven} */ one) => one.line ?? 0));
    this.page.line.say(words("dye-entered", { mg: amountText(mg) }), [{ word: words("dye-take-back"), run: () => void this.undo(`/entries/${line}`) }]);
  }

  /** @param {number} kg */
  async enterMass(kg) {
    const { done, answer } = await this.page.acts.run("PUT", this.path("/body-mass"), { body_mass_kg: kg }, this.entry);
    if (!done) return;
    this.show(answer, this.case);
    const line = answer.body_mass_line;
    if (line === null) return;
    this.page.line.say(words("dye-mass-entered", { kg: amountText(kg) }), [{ word: words("dye-take-back"), run: () => void this.undo(`/entries/${line}`) }]);
  }

  /**
   * @param {string} entry its address
   * @param {string} what
   */
  takeBack(entry, what) {
    this.page.line.say(words("dye-take-back-question", { what }), [{ word: words("dye-take-back"), run: () => void this.undo(entry) }], words("recordings-leave-it"));
  }

  /** @param {string} entry its address */
  async undo(entry) {
    const { done, answer } = await this.page.acts.run("DELETE", this.path(entry), undefined, this.given);
    if (!done) return;
    this.show(answer, this.case);
    this.offerEntries(answer);
    this.page.line.say(words("dye-taken-back"));
  }
}

/** Without the one that the line of the limit says already. @param {DyeOfCase} dye */
function warnings(dye) {
  return dye.warnings.filter((line) => !line.startsWith("no body mass"));
}

/** @param {DyeOfCase} dye */
function limitText(dye) {
  if (dye.limit_mg === null || dye.body_mass_kg === null) return words("dye-limit-unknown", { limit: amountText(dye.limit_mg_per_kg) });
  return words(dye.without_dose ? "dye-limit-at-least" : "dye-limit", {
    percent: amountText(Math.round((100 * dye.given_mg) / dye.limit_mg)), mg: amountText(dye.limit_mg), kg: amountText(dye.body_mass_kg),
  });
}

/** From one to the other, or the one where both read alike. @param {string} least @param {string} most */
function rangeText(least, most) {
  return least === most ? least : words("dye-range", { least, most });
}

/** @param {number} minutes since an injection, as one glance needs it */
export function sinceText(minutes) {
  if (minutes < 0) return words("dye-ahead");
  if (minutes < 60) return words("dye-minutes-ago", { minutes: Math.floor(minutes) });
  if (minutes < 48 * 60) return words("dye-hours-ago", { hours: Math.floor(minutes / 60), minutes: Math.floor(minutes % 60) });
  return words("dye-days-ago", { days: Math.floor(minutes / 1440) });
}

/**
 * @param {number} given
 * @param {number} limit
 */
function meter(given, limit) {
  const bar = made("progress", "dye-meter");
  bar.max = limit;
  bar.value = Math.min(given, limit);
  bar.setAttribute("aria-label", words("dye-meter"));
  return bar;
}

/** @param {string[]} lines */
function list(lines) {
  return made("ul", "caution-list", ...lines.map((line) => made("li", "", line)));
}

/**
 * A field for a number, with its button.
 *
 * @param {string} id
 * @param {string} title
 * @param {string} act
 * @param {[number, number]} range
 * @param {(value: number) => void} entered
 */
function numberForm(id, title, act, [least, most], entered) {
  const form = made("form", "number-form");
  const label = made("label", "", title);
  label.htmlFor = id;
  const input = made("input", "");
  input.type = "number";
  input.id = id;
  input.min = String(least);
  input.max = String(most);
  input.step = "any";
  input.required = true;
  input.inputMode = "decimal";
  const enter = made("button", "", act);
  enter.type = "submit";
  form.append(label, input, enter);
  form.onsubmit = (event) => {
    event.preventDefault();
    entered(input.valueAsNumber);
  };
  return form;
}

/**
 * @param {Element} within
 * @param {string} id
 */
function field(within, id) {
  return /** @type {HTMLInputElement} */ (within.querySelector(`#${id}`));
}
