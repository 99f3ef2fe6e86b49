/** @import { Acts } from "../page/acts.js" */
/** @import { AccessState, Standing } from "../page/device_state.js" */

import { ask, Unpaired } from "../page/device_api.js";
import { button, element, write } from "../page/element.js";

const LOOK_EVERY_MS = 1000;

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
    if (this.you === null) return;
    const controls = access.controller?.number === this.you.number;
    if (controls && this.asking) this.gotControl();
    /** @type {Standing} */
    const standing = { ...access, you: this.you, role: controls ? "controls" : "watches" };
    document.body.classList.toggle("watching", !controls);
    write(element("role"), controls ? "You control" : "You watch");
    this.showAsked(standing);
    this.changed(standing);
  }

  /** What whoever controls is asked. @param {Standing} standing */
  showAsked({ role, asker, waiting_for_button: waiting }) {
    const controls = role === "controls";
    if (controls && asker !== null) {
      this.askedLine(`${asker.label} asks for control.`, [
        ["Give control", () => this.answer(asker.number, true)],
        ["Keep it", () => this.answer(asker.number, false)],
      ]);
    } else if (controls && waiting !== null) {
      this.askedLine(`${waiting} asks to pair. A short press of the handheld's button lets it in.`, [["Refuse", () => void this.acts.run("DELETE", "/pair/button")]]);
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
    this.acts.line.say("You control.");
  }

  async lookAsked() {
    const { done, answer } = await this.acts.run("POST", "/control");
    if (!done || !this.asking) {
      this.asking = false;
      return;
    }
    this.acts.line.say(answer.line);
    if (answer.state === "asked" || answer.state === "press") {
      this.timer = window.setTimeout(() => void this.lookAsked(), LOOK_EVERY_MS);
      return;
    }
    this.asking = false;
    if (answer.state === "controls") await this.learn();
  }
}
