/** @import { Acts } from "../page/acts.js" */
/** @import { ReviewedRecording } from "./review_types.js" */

import { numberText, withUnit } from "../page/number_text.js";
import { button, element } from "../page/element.js";
import { words } from "../page/words.js";
import { toldEvents } from "./event_words.js";
import { recordingPath } from "./recording_path.js";

/** What happened and what was said, in order; and a note more, said afterwards, at the moment on the screen. */
export class NotesPanel {
  /**
   * @param {Acts} acts
   * @param {() => number} at_s
   * @param {(at_s: number) => void} go
   * @param {() => Promise<void>} changed
   */
  constructor(acts, at_s, go, changed) {
    this.acts = acts;
    this.at_s = at_s;
    this.go = go;
    this.changed = changed;
    this.list = element("review-events");
    this.text = element("review-note-text", HTMLTextAreaElement);
    /** @type {ReviewedRecording | null} */
    this.review = null;
    element("review-note-form", HTMLFormElement).onsubmit = (event) => {
      event.preventDefault();
      void this.add();
    };
  }

  /** @param {ReviewedRecording} review */
  show(review) {
    this.review = review;
    this.list.replaceChildren(...toldEvents(review).map((event) => {
      const row = document.createElement("li");
      const touch = button("", () => this.go(event.at_s), "review-event");
      const when = document.createElement("span");
      when.className = "review-event-time";
      when.textContent = withUnit(numberText(event.at_s, 1), "s");
      const what = document.createElement("span");
      what.className = "review-event-text";
      what.textContent = event.text;
      touch.append(when, what);
      if (event.kind === "late note") {
        const late = document.createElement("small");
        late.className = "words";
        late.textContent = words("review-said-afterwards");
        touch.append(late);
      }
      row.append(touch);
      return row;
    }));
    element("review-events-none").hidden = this.list.children.length > 0;
  }

  async add() {
    const text = this.text.value.trim();
    const review = this.review;
    if (text === "" || review === null) return;
    const path = recordingPath(review.name, "notes");
    const { done } = await this.acts.run("POST", path, { at_s: this.at_s(), text }, element("review-note-form"));
    if (!done) return;
    this.text.value = "";
    await this.changed();
    this.acts.line.say(words("review-note-kept"), [{ word: words("review-undo"), run: () => void this.takeBack(review.name, text) }]);
  }

  /** @param {string} name @param {string} text put back where it can be changed */
  async takeBack(name, text) {
    const { done } = await this.acts.run("DELETE", recordingPath(name, "notes", "last"));
    if (!done) return;
    if (this.text.value === "") this.text.value = text;
    await this.changed();
  }
}
