/** @import { CommissioningPlace } from "./commissioning_place.js" */
/** @import { CalibrationLine, Commissioning } from "./commissioning_types.js" */

import { button } from "../page/element.js";
import { made } from "../page/made.js";
import { momentText } from "../page/moment_text.js";
import { words } from "../page/words.js";
import { aboutOf, nameOf, stepNames } from "./step_words.js";
import { lacksWords } from "./walk_sheet.js";

/** Every calibration that is kept, the newest first; any of them can be taken up again. */
export class HistorySheet {
  /** @param {CommissioningPlace} desk */
  constructor(desk) {
    this.desk = desk;
    this.name = "history";
    this.place = made("article", "walk-sheet");
  }

  close() {}

  heard() {}

  show() {
    const known = this.desk.known;
    if (known === null) return;
    const rows = known.calibrations.map((one, index) => this.row(one, index, known));
    const list = rows.length === 0 ? made("p", "walk-status", words("commissioning-no-calibrations")) : made("ul", "calibrations", ...rows);
    this.place.replaceChildren(made("h2", "", nameOf("history")), made("p", "walk-about", aboutOf("history")), list);
  }

  /**
   * @param {CalibrationLine} line
   * @param {number} index
   * @param {Commissioning} known
   */
  row(line, index, known) {
    const moment = momentOf(line.name);
    const marks = [
      ...(index === 0 ? [words("commissioning-newest")] : []),
      ...(moment === known.in_force ? [words("commissioning-in-force")] : []),
      ...(line.again_from === "" ? [] : [words("commissioning-again-from", { name: momentText(momentOf(line.again_from)) })]),
    ];
    const head = made("p", "calibration-when", made("strong", "", momentText(moment)), ...marks.map((one) => made("span", "calibration-mark", one)));
    const lacks = lacksWords(line.missing);
    const about = made("p", "teach", stepNames(line.steps), ...(lacks === "" ? [] : [` – ${lacks}`]));
    const use = button(words("commissioning-use"), () => void this.desk.use(line.name, use));
    return made("li", "calibration", made("div", "", head, about), ...(index === 0 ? [] : [use]));
  }
}

/** A calibration's name is its moment, with what no file name may hold put differently. @param {string} name */
function momentOf(name) {
  return name.slice(0, 20).replace(/T(\d\d)-(\d\d)-/, "T$1:$2:");
}
