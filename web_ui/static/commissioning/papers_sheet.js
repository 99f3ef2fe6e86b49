/** @import { CommissioningPlace } from "./commissioning_place.js" */
/** @import { Commissioning } from "./commissioning_types.js" */

import { button } from "../page/element.js";
import { made } from "../page/made.js";
import { said } from "../page/said.js";
import { words } from "../page/words.js";
import { aboutOf, nameOf } from "./step_words.js";

/** The certificate, and targets to print: written when they are asked for, then to be looked at and saved. */
export class PapersSheet {
  /** @param {CommissioningPlace} desk */
  constructor(desk) {
    this.desk = desk;
    this.name = "papers";
    this.place = made("article", "walk-sheet");
  }

  close() {}

  heard() {}

  show() {
    const known = this.desk.known;
    if (known === null) return;
    const certificate = known.calibrations.length === 0 ? [made("p", "walk-why", words("commissioning-no-calibrations"))] : [this.paper(known, "certificate", words("commissioning-certificate"))];
    this.place.replaceChildren(
      made("h2", "", nameOf("papers")),
      made("p", "walk-about", aboutOf("papers")),
      made("h3", "", words("commissioning-certificate")),
      made("p", "teach", words("commissioning-certificate-about")),
      ...certificate,
      made("h3", "", words("commissioning-targets")),
      made("p", "teach", words("commissioning-targets-about")),
      this.paper(known, "target-a4", words("commissioning-target-a4")),
      this.paper(known, "target-letter", words("commissioning-target-letter")),
    );
  }

  /**
   * @param {Commissioning} known
   * @param {string} paper
   * @param {string} title
   */
  paper(known, paper, title) {
    const state = known.paper?.paper === paper ? known.paper : null;
    const write = button(words("commissioning-write-paper"), () => void this.make(paper, write), "strong");
    write.setAttribute("aria-label", `${title}: ${words("commissioning-write-paper")}`);
    const row = made("div", "paper", made("strong", "paper-title", title));
    if (state?.running) row.append(made("span", "", words("commissioning-writing")));
    else if (state !== null && state.file !== "") row.append(link(state.file, words("commissioning-open-paper"), false), link(state.file, words("commissioning-save-paper"), true));
    else row.append(write);
    if (state !== null && state.error !== "") row.append(made("span", "walk-why", words("commissioning-paper-failed", { why: said(state.error) })));
    return row;
  }

  /**
   * @param {string} paper
   * @param {Element} pressed
   */
  async make(paper, pressed) {
    const { done, answer } = await this.desk.page.acts.run("POST", "/commissioning/papers", { paper }, pressed);
    if (done) this.desk.told(answer);
  }
}

/**
 * @param {string} file
 * @param {string} word
 * @param {boolean} save
 */
function link(file, word, save) {
  const one = made("a", "button-link", word);
  one.href = `/api/v1/commissioning/papers/${file}`;
  if (save) one.download = file;
  else one.target = "_blank";
  one.rel = "noopener";
  return one;
}
