/** @import { Acts } from "../page/acts.js" */

import { button, element } from "../page/element.js";

/** What is often said at the table, so that nobody must type. */
const READY_NOTES = ["Skin marked", "Pull on", "Pull off", "Pressure low", "Pressure restored", "Dressing moved", "Second look"];

/** Words kept with the recording. */
export class NoteSheet {
  /**
   * @param {Acts} acts
   * @param {() => void} close
   */
  constructor(acts, close) {
    this.acts = acts;
    this.close = close;
    this.field = element("note-text", HTMLInputElement);
    element("note-choices").append(...READY_NOTES.map((text) => button(text, () => void this.keep(text))));
    element("note-form", HTMLFormElement).onsubmit = (event) => {
      event.preventDefault();
      const text = this.field.value.trim();
      if (text !== "") void this.keep(text);
    };
  }

  /** @param {string} text */
  async keep(text) {
    const { done } = await this.acts.run("POST", "/notes", { text });
    if (!done) return;
    this.field.value = "";
    this.close();
    this.acts.line.say(`Note kept: ${text}`);
  }
}
