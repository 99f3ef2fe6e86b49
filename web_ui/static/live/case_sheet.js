/** @import { Acts } from "../page/acts.js" */
/** @import { DeviceState } from "../page/device_state.js" */

import { element, write } from "../page/element.js";
import { words } from "../page/words.js";

/** The case that is open, another code for what comes next, and the way to what was recorded. */
export class CaseSheet {
  /** @param {Acts} acts */
  constructor(acts) {
    this.acts = acts;
    this.form = element("case-form", HTMLFormElement);
    this.field = element("case-code", HTMLInputElement);
    this.form.onsubmit = (event) => {
      event.preventDefault();
      void this.open();
    };
  }

  /** A code that was typed and not opened yet counts for the next recording all the same; empty: the open case does. */
  caseCode() {
    return this.field.value.trim();
  }

  async open() {
    if (this.caseCode() === "") return;
    const { done } = await this.acts.run("PUT", "/case", { case: this.caseCode() }, this.form);
    if (done) this.field.value = "";
  }

  /** @param {DeviceState | null} state */
  show(state) {
    if (state !== null) write(element("live-open-case"), state.case || words("live-no-case"));
  }
}
