import { button, element } from "./element.js";
import { words } from "./words.js";

const STAYS_MS = 8000;

/**
 * @typedef {{word: string, run: () => void}} Act
 * @typedef {{text: string, acts: Act[], leave: string, lang?: string}} Said
 */

/** The one line at the foot of the picture: what went wrong and what to do, what can be undone, what is asked. */
export class CalmLine {
  constructor() {
    this.place = element("line");
    this.text = element("line-text");
    this.acts = element("line-acts");
    /** @type {Said | null} */
    this.passing = null;
    /** @type {Said | null} what stands whatever place one is at: it goes before the place's own */
    this.above = null;
    /** @type {Said | null} */
    this.ofPlace = null;
    this.timer = 0;
  }

  /**
   * Words that leave by themselves, with what can be done about them.
   *
   * @param {string} text
   * @param {Act[]} [acts]
   * @param {string} [leave] the word that does nothing but close
   * @param {string} [lang] the language of the text where it is not the page's, so that it is read aloud as such
   */
  say(text, acts = [], leave = words("page-close"), lang = "") {
    clearTimeout(this.timer);
    this.passing = { text, acts, leave, lang };
    this.timer = window.setTimeout(() => this.clear(), STAYS_MS);
    this.show();
  }

  /**
   * Words that stay until what they say is over.
   *
   * @param {string} text empty when there is nothing to say
   */
  stand(text) {
    if ((this.ofPlace?.text ?? "") === text) return;
    this.ofPlace = text === "" ? null : { text, acts: [], leave: "" };
    this.makeRoomFor(text);
  }

  /**
   * The same for what concerns the whole page.
   *
   * @param {string} text empty when there is nothing to say
   * @param {Act[]} [acts]
   */
  standAbove(text, acts = []) {
    if ((this.above?.text ?? "") === text) return;
    this.above = text === "" ? null : { text, acts, leave: "" };
    this.makeRoomFor(text);
  }

  /** @param {string} text */
  makeRoomFor(text) {
    if (text === "" || this.passing?.acts.length) this.show();
    else this.clear();
  }

  get standing() {
    return this.above ?? this.ofPlace;
  }

  /** Words that offer nothing make room for what was asked for meanwhile. */
  makeRoom() {
    if (this.passing?.acts.length === 0) this.clear();
  }

  clear() {
    clearTimeout(this.timer);
    this.passing = null;
    this.show();
  }

  /** @returns {Said | null} an offer that came with words that stand: neither waits for the other */
  both() {
    const { passing, standing } = this;
    return passing?.acts.length && standing ? { ...passing, text: `${standing.text} ${passing.text}` } : null;
  }

  show() {
    const said = this.both() ?? this.passing ?? this.standing;
    this.place.hidden = said === null;
    this.place.classList.toggle("stands", said?.leave === "");
    if (said === null) return;
    this.text.textContent = said.text;
    if (said.lang) this.text.lang = said.lang;
    else this.text.removeAttribute("lang");
    this.acts.replaceChildren(
      ...said.acts.map(({ word, run }) =>
        button(word, () => {
          this.clear();
          run();
        }),
      ),
    );
    if (said.leave !== "") this.acts.append(button(said.leave, () => this.clear(), "faint"));
  }
}
