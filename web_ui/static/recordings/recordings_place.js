/** @import { DeviceState } from "../page/device_state.js" */
/** @import { Page, Place } from "../page/place.js" */

import { element, write } from "../page/element.js";
import { words } from "../page/words.js";
import { CaseList } from "./case_list.js";
import { DyeCard } from "./dye_card.js";
import { OpenCase } from "./open_case.js";
import { RecordingList } from "./recording_list.js";
import { RemovedList } from "./removed_list.js";
import { ALL, WITHOUT_CASE } from "./which_recordings.js";

const FIND_AFTER_MS = 250;

/**
 * Cases and what was recorded in them: found by code and day, opened for review, compared, exported, removed and brought back.
 *
 * @implements {Place}
 */
export class RecordingsPlace {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.chosen = "";
    this.shown = false;
    this.running = "";
    /** @type {string | null | undefined} the open case as it was told last */
    this.heardCase = undefined;
    this.timer = 0;
    this.text = element("find-text", HTMLInputElement);
    this.day = element("find-day", HTMLInputElement);
    this.cases = new CaseList(page);
    this.list = new RecordingList(page, { chosen: () => this.showChosen(), changed: () => this.changed() });
    this.removed = new RemovedList(page, (removed) => void this.list.bringBack(removed));
    this.dye = new DyeCard(page);
    this.openCase = new OpenCase(page, () => this.cases.codes(), (code) => this.caseOpened(code));
    element("list-title").tabIndex = -1;
    this.listen();
  }

  listen() {
    element("find-form", HTMLFormElement).onsubmit = (event) => {
      event.preventDefault();
      this.find(true);
    };
    this.text.oninput = () => this.findSoon();
    this.day.onchange = () => this.find(true);
    element("list-open-case").onclick = () => void this.openCase.open(this.chosen, element("list-open-case"));
    element("chosen-compare").onclick = () => this.compare();
    element("chosen-export").onclick = () => this.page.go("export", ...this.chosenNames());
    element("chosen-clear").onclick = () => this.list.chooseNone();
    this.page.onState((state) => this.heard(state));
  }

  /** @param {string[]} parts */
  open([chosen = ""]) {
    this.shown = true;
    this.chosen = chosen;
    element("recordings").classList.toggle("has-chosen", chosen !== "");
    this.heard(this.page.state());
    this.show();
    void this.cases.load(this.text.value.trim());
    void this.removed.load();
  }

  close() {
    this.shown = false;
    clearTimeout(this.timer);
    this.list.close();
    this.dye.close();
  }

  relabel() {
    this.cases.show();
    this.list.show();
    this.dye.relabel();
    this.openCase.show(this.page.state()?.case ?? null);
    if (this.shown) this.show();
  }

  show() {
    const isCase = ![ALL, WITHOUT_CASE, ""].includes(this.chosen);
    write(element("list-title"), this.title());
    this.showOpenCase();
    void this.dye.open(isCase ? this.chosen : "");
    return this.list.open({ chosen: this.chosen, text: this.text.value.trim(), day: this.day.value });
  }

  title() {
    if (this.chosen === WITHOUT_CASE) return words("recordings-no-case");
    if (this.chosen !== "" && this.chosen !== ALL) return this.chosen;
    return this.text.value.trim() === "" && this.day.value === "" ? words("recordings-all") : words("recordings-found");
  }

  findSoon() {
    clearTimeout(this.timer);
    this.timer = window.setTimeout(() => this.find(false), FIND_AFTER_MS);
  }

  /** @param {boolean} recordings whether what is found is to be on the screen, not only its cases */
  find(recordings) {
    void this.cases.load(this.text.value.trim());
    if (recordings && this.chosen !== ALL) this.page.go("recordings", ALL);
    else void this.show();
  }

  /** @param {DeviceState | null} state */
  heard(state) {
    if (!this.shown) return;
    const code = state === null ? null : (state.case ?? "");
    if (code !== this.heardCase) {
      this.heardCase = code;
      this.openCase.show(code);
      this.showOpenCase();
    }
    const running = state?.recording.name ?? "";
    if (state === null || running === this.running) return;
    this.running = running;
    this.changed();
    void this.list.load();
  }

  showOpenCase() {
    this.cases.mark(this.chosen || ALL, this.openCase.code);
    element("list-open-case").hidden = [ALL, WITHOUT_CASE, "", this.openCase.code].includes(this.chosen);
  }

  /** Recordings came, went or changed. */
  changed() {
    void this.cases.load(this.text.value.trim());
    void this.removed.load();
  }

  /** @param {string} code */
  caseOpened(code) {
    this.cases.mark(this.chosen || ALL, code);
    if (code !== "") this.page.go("recordings", code);
    else void this.show();
  }

  /** The earlier one first. */
  chosenNames() {
    return [...this.list.chosen.values()].sort((one, other) => (one.started_at < other.started_at ? -1 : 1)).map((one) => one.name);
  }

  showChosen() {
    const count = this.list.chosen.size;
    element("chosen-bar").hidden = count === 0;
    element("chosen-compare", HTMLButtonElement).disabled = count !== 2;
    write(element("chosen-words"), count === 2 ? words("recordings-chosen-two") : words("recordings-chosen", { count }));
  }

  compare() {
    const [first, second] = this.chosenNames();
    if (first !== undefined && second !== undefined) this.page.go("compare", first, second);
  }
}
