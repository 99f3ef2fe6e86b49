/** @import { Acts } from "../page/acts.js" */
/** @import { AccessState, Standing } from "../page/device_state.js" */

import { ask, Unpaired } from "../page/device_api.js";
import { button, element, write } from "../page/element.js";
import { onLanguage, put, words } from "../page/words.js";

const LOOK_EVERY_MS = 1000;

/** What the device answers to whoever asks for control. @type {Record<string, string>} */
const ASKED_WORDS = {
  controls: "pairing-got-control",
  asked: "pairing-asked",
  busy: "pairing-another-asks",
  press: "pairing-press-for-control",
  refused: "pairing-refused",
};

/** Who controls: shown at the foot of the page, asked for here, and given away by whoever has it. */
export class ControlPlace {
  /**
   * @param {Acts} acts
   * @param {(standing: Standing) => void} changed
   */
  constructor(acts, changed) {
    this.acts = acts;
    this.changed = changed;
    /** @type {import("../page/device_state.js").Tablet | null} */
    this.you = null;
    this.said = "";
    this.asking = false;
    this.timer = 0;
    /** @type {AccessState | null} */
    this.access = null;
    onLanguage(() => {
      if (this.access !== null) this.show(this.access);
    });
  }

  /** Who this tablet is; asked anew with each connection, as it may have been paired anew. */
  async learn() {
    try {
      const standing = await ask("GET", "/access");
      this.you = standing.you;
      this.show(standing);
    } catch (error) {
      if (error instanceof Unpaired) this.acts.unpaired();
    }
  }

  /** @param {AccessState} access */
  show(access) {
    this.access = access;
    if (this.you === null) return;
    const controls = access.controller?.number === this.you.number;
    if (controls && this.asking) this.gotControl();
    /** @type {Standing} */
    const standing = { ...access, you: this.you, role: controls ? "controls" : "watches" };
    document.body.classList.toggle("watching", !controls);
    put(element("role"), controls ? "pairing-you-control" : "pairing-you-watch");
    this.showAsked(standing);
    this.changed(standing);
  }

  /** What whoever controls is asked. @param {Standing} standing */
  showAsked({ role, asker, waiting_for_button: waiting }) {
    const controls = role === "controls";
    if (controls && asker !== null) {
      this.askedLine(words("pairing-asks-control", { who: asker.label }), [
        [words("pairing-give"), () => this.answer(asker.number, true)],
        [words("pairing-keep"), () => this.answer(asker.number, false)],
      ]);
    } else if (controls && waiting !== null) {
      this.askedLine(words("pairing-asks-to-pair", { who: waiting }), [[words("pairing-refuse"), () => void this.acts.run("DELETE", "/pair/button")]]);
    } else this.askedLine("", []);
  }

  /**
   * @param {string} text
   * @param {[string, () => void][]} choices
   */
  askedLine(text, choices) {
    if (text === this.said) return;
    this.said = text;
    element("asked").hidden = text === "";
    write(element("asked-text"), text);
    element("asked-acts").replaceChildren(...choices.map(([word, run]) => button(word, run)));
  }

  /**
   * @param {string} number
   * @param {boolean} give
   */
  answer(number, give) {
    this.askedLine("", []);
    void this.acts.run("POST", "/control/consent", { number, give });
  }

  /** Ask, and go on asking how it stands until it is decided. */
  askForControl() {
    clearTimeout(this.timer);
    this.asking = true;
    void this.lookAsked();
  }

  gotControl() {
    clearTimeout(this.timer);
    this.asking = false;
    this.acts.line.say(words("pairing-got-control"));
  }

  async lookAsked() {
    const { done, answer } = await this.acts.run("POST", "/control");
    if (!done || !this.asking) {
      this.asking = false;
      return;
    }
    this.acts.line.say(askedText(answer));
    if (answer.state === "asked" || answer.state === "press") {
      this.timer = window.setTimeout(() => void this.lookAsked(), LOOK_EVERY_MS);
      return;
    }
    this.asking = false;
    if (answer.state === "controls") await this.learn();
  }
}

/**
 * How it stands with the asking for control. Why it ended, the device says in its own words.
 *
 * @param {{state: string, line: string}} answer
 */
export function askedText({ state, line }) {
  const id = ASKED_WORDS[state];
  return id === undefined ? line : words(id);
}
