import { button, element } from "./element.js";
import { words } from "./words.js";

const STAYS_MS = 8000;

/**
 * @typedef {{word: string, run: () => void}} Act
 * @typedef {{text: string, buttons: HTMLButtonElement[], leave: string, offers: boolean, lang: string}} Said its buttons are made once:
 *   a finger may be on one of them while words beside it change
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
    /** What stands is read in full: on a phone it is two lines otherwise, so that the picture is seen. */
    this.whole = false;
    this.more = button("", () => {
      this.whole = !this.whole;
      this.show();
    });
    addEventListener("resize", () => this.show());
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
    this.passing = this.said(text, acts, leave, lang);
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
    this.ofPlace = text === "" ? null : this.said(text, []);
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
    this.above = text === "" ? null : this.said(text, acts);
    this.makeRoomFor(text);
  }

  /** @param {string} text */
  makeRoomFor(text) {
    if (text === "" || this.passing?.offers) this.show();
    else this.clear();
  }

  get standing() {
    return this.above ?? this.ofPlace;
  }

  /** Words that offer nothing make room for what was asked for meanwhile. */
  makeRoom() {
    if (this.passing?.offers === false) this.clear();
  }

  clear() {
    clearTimeout(this.timer);
    this.passing = null;
    this.show();
  }

  /** @returns {Said | null} an offer that came with words that stand: neither waits for the other */
  both() {
    const { passing, standing } = this;
    return passing?.offers && standing ? { ...passing, text: `${standing.text} ${passing.text}` } : null;
  }

  show() {
    const said = this.both() ?? this.passing ?? this.standing;
    this.place.hidden = said === null;
    this.place.classList.toggle("stands", said?.leave === "");
    if (said?.leave !== "") this.whole = false;
    if (said === null) return;
    this.place.classList.toggle("whole", this.whole);
    this.text.textContent = said.text;
    if (said.lang) this.text.lang = said.lang;
    else this.text.removeAttribute("lang");
    const acts = [...said.buttons, ...this.readMore(said)];
    const there = [...this.acts.children];
    if (acts.length !== there.length || acts.some((one, index) => one !== there[index])) this.acts.replaceChildren(...acts);
  }

  /**
   * @param {string} text
   * @param {Act[]} acts
   * @param {string} [leave]
   * @param {string} [lang]
   * @returns {Said}
   */
  said(text, acts, leave = "", lang = "") {
    const buttons = acts.map(({ word, run }) => this.act(word, run));
    if (leave !== "") buttons.push(button(leave, () => this.clear(), "faint"));
    return { text, buttons, leave, offers: acts.length > 0, lang };
  }

  /** @param {string} word @param {() => void} run */
  act(word, run) {
    return button(word, () => {
      this.clear();
      run();
    });
  }

  /** What stands can be read in full where there is no room for it. @param {Said} said */
  readMore({ leave }) {
    if (leave !== "") return [];
    this.more.textContent = words(this.whole ? "page-line-less" : "page-line-more");
    this.more.setAttribute("aria-expanded", String(this.whole));
    return this.whole || this.text.scrollHeight > this.text.clientHeight + 1 ? [this.more] : [];
  }
}
