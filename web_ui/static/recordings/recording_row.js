/** @import { RecordingSummary } from "./recordings_types.js" */

import { button } from "../page/element.js";
import { made } from "../page/made.js";
import { words } from "../page/words.js";
import { aboutText, startText, titleText } from "./recording_text.js";

/** A name that the device gave says no more than moment and case, which stand in the row already. */
const A_MOMENT = /^\d{4}-\d\d-\d\dT\d\d-\d\d-\d\dZ/;

/**
 * What a row asks of its list.
 *
 * @typedef {object} RowActs
 * @property {(name: string, chosen: boolean) => void} choose
 * @property {(name: string, row: HTMLElement) => void} remove
 * @property {(name: string, code: string, row: HTMLElement) => void} changeCase
 */

/** One recording of the list: a box to choose it, the way to review, and behind "More" what changes it. */
export class RecordingRow {
  /**
   * @param {RecordingSummary} recording
   * @param {{chosen: boolean, running: boolean, withCase: boolean}} how
   * @param {RowActs} acts
   */
  constructor(recording, { chosen, running, withCase }, acts) {
    this.recording = recording;
    this.acts = acts;
    this.place = made("li", "recording-row");
    this.place.dataset["name"] = recording.name;
    this.box = made("input", "choose-box");
    this.box.type = "checkbox";
    this.box.checked = chosen;
    this.box.disabled = running;
    this.box.onchange = () => acts.choose(recording.name, this.box.checked);
    const label = made("label", "choose-label", this.box, made("span", "unseen", words("recordings-choose", { what: this.called() })));
    this.more = made("div", "row-more");
    this.more.hidden = true;
    this.opener = button(words("recordings-more"), () => this.toggle(), "faint");
    this.opener.setAttribute("aria-expanded", "false");
    this.opener.setAttribute("aria-label", words("recordings-more-about", { what: this.called() }));
    this.place.append(label, this.link(withCase, running), running ? made("strong", "row-running", words("recordings-running")) : this.opener, this.more);
  }

  /**
   * @param {boolean} withCase
   * @param {boolean} running
   */
  link(withCase, running) {
    const { recording } = this;
    const link = made("a", "row-link");
    link.href = `#review/${encodeURIComponent(recording.name)}`;
    const title = made("strong", "row-title", withCase ? titleText(recording) : startText(recording.started_at));
    const second = withCase ? [made("span", "row-when", startText(recording.started_at))] : [];
    const named = A_MOMENT.test(recording.name) ? [] : [made("span", "row-name", recording.name)];
    link.append(title, ...second, made("span", "row-about", aboutText(recording, running)), ...named);
    return link;
  }

  called() {
    return `${titleText(this.recording)}, ${startText(this.recording.started_at)}`;
  }

  toggle() {
    this.show(this.more.hidden === true);
    if (!this.more.hidden) this.more.querySelector("button")?.focus();
  }

  /** @param {boolean} open */
  show(open) {
    this.more.hidden = !open;
    this.opener.setAttribute("aria-expanded", String(open));
    if (open) this.offer();
  }

  offer() {
    this.more.replaceChildren(
      button(words("recordings-change-case"), () => this.askCase()),
      button(words("recordings-remove"), () => this.askRemove()),
    );
  }

  askRemove() {
    const yes = button(words("recordings-remove-yes"), () => this.acts.remove(this.recording.name, this.place), "strong");
    const no = button(words("recordings-remove-no"), () => this.leave());
    this.more.replaceChildren(made("p", "row-question", words("recordings-remove-question", { what: this.called() })), yes, no);
    no.focus();
  }

  askCase() {
    const form = made("form", "one-line-form");
    const field = made("input", "");
    field.type = "text";
    field.maxLength = 40;
    field.autocomplete = "off";
    field.spellcheck = false;
    field.value = this.recording.case;
    field.id = `case-of-${this.recording.name}`;
    const label = made("label", "", words("recordings-new-case-label"));
    label.htmlFor = field.id;
    const change = made("button", "strong", words("recordings-change-case-yes"));
    change.type = "submit";
    form.append(label, field, change, button(words("recordings-leave-it"), () => this.leave()));
    form.onsubmit = (event) => {
      event.preventDefault();
      this.acts.changeCase(this.recording.name, field.value.trim(), this.place);
    };
    this.more.replaceChildren(form);
    field.focus();
    field.select();
  }

  leave() {
    this.show(false);
    this.opener.focus();
  }
}
