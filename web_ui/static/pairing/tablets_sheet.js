/** @import { Acts } from "../page/acts.js" */
/** @import { PairedTablet, Standing } from "../page/device_state.js" */

import { button, element, write } from "../page/element.js";
import { durationText } from "../page/value_text.js";

const WAYS = { word: "by the word", button: "by the button", invitation: "invited" };

/** Which tablets are paired; who controls can invite one more, and unpair any. */
export class TabletsSheet {
  /**
   * @param {Acts} acts
   * @param {() => void} unpaired
   */
  constructor(acts, unpaired) {
    this.acts = acts;
    this.unpaired = unpaired;
    this.list = element("tablets-list");
    /** @type {Standing | null} */
    this.standing = null;
    this.shown = "";
    element("tablets-ask").onclick = () => this.acts.askForControl();
    element("tablets-word").onclick = () => this.unpaired();
    element("tablets-invite").onclick = () => void this.invite();
    element("tablets-leave").onclick = () => this.sure("Unpair this tablet?", () => void this.revoke(this.standing?.you.number ?? ""));
    element("tablets-revoke-all").onclick = () => this.sure("Unpair all tablets, this one too?", () => void this.revoke(null));
  }

  async opened() {
    element("invitation").hidden = true;
    await this.fill();
  }

  async fill() {
    if (this.standing?.role !== "controls") {
      this.list.replaceChildren();
      return;
    }
    const { done, answer } = await this.acts.run("GET", "/pairings", undefined, this.list);
    if (!done) return;
    /** @type {PairedTablet[]} */
    const tablets = answer.tablets;
    this.list.replaceChildren(...tablets.map((tablet) => this.row(tablet)));
  }

  /** @param {Standing} standing */
  show(standing) {
    const controls = standing.role === "controls";
    this.standing = standing;
    write(element("tablets-words"), standingWords(standing));
    element("tablets-ask").hidden = controls;
    element("tablets-word").hidden = controls || standing.controller_here;
    element("tablets-invite").hidden = !controls;
    element("tablets-revoke-all").hidden = !controls;
    if (!controls) element("invitation").hidden = true;
    const now = JSON.stringify([standing.role, standing.controller, standing.waiting_for_button]);
    if (now !== this.shown && !element("sheet-tablets").hidden) void this.fill();
    this.shown = now;
  }

  /** @param {PairedTablet} tablet */
  row(tablet) {
    const line = document.createElement("li");
    line.className = "row";
    const words = document.createElement("p");
    words.className = "row-words";
    const title = document.createElement("strong");
    title.textContent = tablet.label;
    const about = document.createElement("span");
    about.className = "row-about";
    about.textContent = this.about(tablet);
    words.append(title, about);
    const rowActs = document.createElement("div");
    rowActs.className = "row-acts";
    if (tablet.number !== this.standing?.you.number) {
      rowActs.append(button("Unpair", () => this.sure(`Unpair ${tablet.label}?`, () => void this.revoke(tablet.number))));
    }
    line.append(words, rowActs);
    return line;
  }

  /** @param {PairedTablet} tablet */
  about(tablet) {
    const own = tablet.number === this.standing?.you.number;
    return [
      ...(own ? ["this tablet"] : []),
      tablet.role,
      `paired ${WAYS[tablet.way]} ${durationText(tablet.paired_s)} ago`,
      ...(own || tablet.here ? [] : ["not there now"]),
    ].join(" · ");
  }

  async invite() {
    const { done, answer } = await this.acts.run("POST", "/invitations", undefined, element("tablets-invite"));
    if (!done) return;
    element("invitation-picture", HTMLImageElement).src = answer.picture;
    write(element("invitation-words"), `Scan it with the other tablet's camera within ${Math.round(answer.seconds / 60)} minutes. It works once.`);
    element("invitation").hidden = false;
    element("invitation").scrollIntoView({ block: "nearest" });
  }

  /**
   * @param {string} question
   * @param {() => void} run
   */
  sure(question, run) {
    this.acts.line.say(question, [{ word: "Unpair", run }], "Keep");
  }

  /** @param {string | null} number null: every tablet */
  async revoke(number) {
    const path = number === null ? "/pairings" : `/pairings/${encodeURIComponent(number)}`;
    const { done, answer } = await this.acts.run("DELETE", path);
    if (!done) return;
    if (answer.paired) await this.fill();
    else this.unpaired();
  }
}

/** @param {Standing} standing */
export function standingWords({ you, role, controller, controller_here: here }) {
  if (role === "controls") return `This tablet, ${you.label}, controls.`;
  if (controller === null) return `This tablet, ${you.label}, watches. No tablet controls.`;
  return `This tablet, ${you.label}, watches. ${controller.label} controls${here ? "" : ", but nobody is there"}.`;
}
