/** @import { Page } from "../page/place.js" */
/** @import { CaseSummary, Cases } from "./recordings_types.js" */

import { ask } from "../page/device_api.js";
import { element } from "../page/element.js";
import { made } from "../page/made.js";
import { words } from "../page/words.js";
import { startText, countText } from "./recording_text.js";
import { ALL, WITHOUT_CASE, casesPath } from "./which_recordings.js";

/** The cases that have recordings, the newest first, and the one that is chosen among them. */
export class CaseList {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.place = element("case-list");
    this.more = element("case-more");
    this.more.onclick = () => void this.load(this.text, this.next);
    /** @type {CaseSummary[]} */
    this.cases = [];
    this.text = "";
    this.next = "";
    this.chosen = "";
    this.open = "";
    this.asked = 0;
  }

  /**
   * @param {string} text any part of a code
   * @param {string} [after]
   * @returns {Promise<Cases | null>} null where the device did not answer, or was asked anew meanwhile
   */
  async load(text, after = "") {
    const asked = ++this.asked;
    this.text = text;
    try {
      /** @type {Cases} */
      const answer = await ask("GET", casesPath(text, after));
      if (asked !== this.asked) return null;
      this.cases = after === "" ? answer.cases : [...this.cases, ...answer.cases];
      this.next = answer.next;
      this.show();
      return answer;
    } catch (error) {
      this.page.acts.failed(error);
      return null;
    }
  }

  /** @param {string} chosen @param {string} open the case that is open */
  mark(chosen, open) {
    if (chosen === this.chosen && open === this.open) return;
    this.chosen = chosen;
    this.open = open;
    this.show();
  }

  codes() {
    return this.cases.map((one) => one.case);
  }

  show() {
    const held = document.activeElement instanceof HTMLAnchorElement && this.place.contains(document.activeElement)
      ? document.activeElement.hash : "";
    const all = this.row(ALL, words("recordings-all"), "");
    this.place.replaceChildren(all, ...this.cases.map((one) => this.caseRow(one)));
    this.more.hidden = this.next === "";
    element("case-teach").hidden = this.cases.length > 0 || this.text !== "";
    if (held !== "") /** @type {HTMLElement | null} */ (this.place.querySelector(`a[href="${CSS.escape(held)}"]`))?.focus();
  }

  /** @param {CaseSummary} one */
  caseRow(one) {
    const about = `${words("recordings-count", { count: one.recordings, shown: countText(one.recordings) })} · ${startText(one.last_at)}`;
    const row = one.case === ""
      ? this.row(WITHOUT_CASE, words("recordings-no-case"), about)
      : this.row(one.case, one.case, about);
    if (one.case !== "" && one.case === this.open) row.firstElementChild?.append(made("span", "open-word", words("recordings-open-word")));
    return row;
  }

  /**
   * @param {string} part of the address
   * @param {string} title
   * @param {string} about
   */
  row(part, title, about) {
    const link = made("a", "case-row", made("strong", "row-title", title));
    link.href = `#recordings/${encodeURIComponent(part)}`;
    if (part === this.chosen) link.setAttribute("aria-current", "page");
    if (about !== "") link.append(made("span", "row-about", about));
    return made("li", "", link);
  }
}
