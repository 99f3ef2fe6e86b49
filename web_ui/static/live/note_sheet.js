/** @import { Acts } from "../page/acts.js" */

import { button, element } from "../page/element.js";
import { words } from "../page/words.js";

/** What is often said at the table, so that nobody must type. */
const READY_NOTE_WORDS = ["live-note-skin-marked", "live-note-pull-on", "live-note-pull-off", "live-note-pressure-low", "live-note-pressure-restored", "live-note-dressing-moved", "live-note-second-look"];

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
    this.choices = element("note-choices");
    this.relabel();
    element("note-form", HTMLFormElement).onsubmit = (event) => {
      event.preventDefault();
      const text = this.field.value.trim();
      if (text !== "") void this.keep(text);
    };
  }

  relabel() {
    this.choices.replaceChildren(...READY_NOTE_WORDS.map((id) => button(words(id), () => void this.keep(words(id)))));
  }

  /** @param {string} text */
  async keep(text) {
    const { done } = await this.acts.run("POST", "/notes", { text });
    if (!done) return;
    this.field.value = "";
    this.close();
    this.acts.line.say(words("live-note-kept", { text }));
  }
}
