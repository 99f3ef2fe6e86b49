/** @import { Acts } from "../page/acts.js" */
/** @import { PairedTablet, Standing } from "../page/device_state.js" */

import { button, element, write } from "../page/element.js";
import { durationText } from "../page/moment_text.js";
import { onLanguage, put, words } from "../page/words.js";

const WAY_WORDS = { word: "pairing-by-word", button: "pairing-by-button", invitation: "pairing-invited" };
const ROLE_WORDS = { controls: "pairing-controls", watches: "pairing-watches" };

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
    onLanguage(() => this.relabel());
    element("tablets-ask").onclick = () => this.acts.askForControl();
    element("tablets-word").onclick = () => this.unpaired();
    element("tablets-invite").onclick = () => void this.invite();
    element("tablets-leave").onclick = () => this.sure(words("pairing-sure-this"), () => void this.revoke(this.standing?.you.number ?? ""));
    element("tablets-revoke-all").onclick = () => this.sure(words("pairing-sure-all"), () => void this.revoke(null));
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

  relabel() {
    if (this.standing !== null) write(element("tablets-words"), standingWords(this.standing));
    if (!element("sheet-tablets").hidden) void this.fill();
  }

  /** @param {PairedTablet} tablet */
  row(tablet) {
    const line = document.createElement("li");
    line.className = "row";
    const heading = document.createElement("p");
    heading.className = "row-words";
    const title = document.createElement("strong");
    title.textContent = tablet.label;
    const about = document.createElement("span");
    about.className = "row-about";
    about.textContent = this.about(tablet);
    heading.append(title, about);
    const rowActs = document.createElement("div");
    rowActs.className = "row-acts";
    if (tablet.number !== this.standing?.you.number) {
      const ask = () => this.sure(words("pairing-sure-one", { who: tablet.label }), () => void this.revoke(tablet.number));
      rowActs.append(button(words("pairing-unpair"), ask));
    }
    line.append(heading, rowActs);
    return line;
  }

  /** @param {PairedTablet} tablet */
  about(tablet) {
    const own = tablet.number === this.standing?.you.number;
    return [
      ...(own ? [words("pairing-this-tablet")] : []),
      words(ROLE_WORDS[tablet.role]),
      words(WAY_WORDS[tablet.way], { time: durationText(tablet.paired_s) }),
      ...(own || tablet.here ? [] : [words("pairing-not-there")]),
    ].join(" · ");
  }

  async invite() {
    const { done, answer } = await this.acts.run("POST", "/invitations", undefined, element("tablets-invite"));
    if (!done) return;
    element("invitation-picture", HTMLImageElement).src = answer.picture;
    put(element("invitation-words"), "pairing-scan", { minutes: Math.round(answer.seconds / 60) });
    element("invitation").hidden = false;
    element("invitation").scrollIntoView({ block: "nearest" });
  }

  /**
   * @param {string} question
   * @param {() => void} run
   */
  sure(question, run) {
    this.acts.line.say(question, [{ word: words("pairing-unpair"), run }], words("pairing-keep-paired"));
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
  if (role === "controls") return words("pairing-stands-controls", { you: you.label });
  if (controller === null) return words("pairing-stands-vacant", { you: you.label });
  const who = { you: you.label, controller: controller.label };
  return here ? words("pairing-stands-watches", who) : words("pairing-stands-alone", who);
}
