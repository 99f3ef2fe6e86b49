/** @import { DeviceState } from "../page/device_state.js" */
/** @import { Page, Place } from "../page/place.js" */
/** @import { Comparison, ComparisonJob } from "./compare_types.js" */

import { saveFile } from "../charts/saved_file.js";
import { element, write } from "../page/element.js";
import { made } from "../page/made.js";
import { said } from "../page/said.js";
import { momentText } from "../page/moment_text.js";
import { shareText } from "../page/number_text.js";
import { words } from "../page/words.js";
import { alignedText, betweenText } from "./compared_text.js";
import { keptComparison, PicturePair } from "./picture_pair.js";
import { regionCards } from "./region_cards.js";


/**
 * Two recordings of the same view: what differs, how sure that is, and what to bear in mind.
 *
 * @implements {Place}
 */
export class ComparePlace {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.first = "";
    this.second = "";
    /** @type {Comparison | null} */
    this.found = null;
    this.shown = false;
    this.running = false;
    this.job = 0;
    this.pictures = new PicturePair(page.acts);
    this.minutes = element("compare-minutes", HTMLInputElement);
    this.sameView = element("compare-same-view", HTMLInputElement);
    element("compare-form", HTMLFormElement).onsubmit = (event) => {
      event.preventDefault();
      void this.start();
    };
    element("compare-stop").onclick = () => void page.acts.run("DELETE", "/comparisons/running", undefined, element("compare-stop"));
    element("compare-save-picture").onclick = () => void this.savePicture();
    page.onState((state) => this.heard(state));
  }

  /** @param {string[]} parts */
  open([first = "", second = ""]) {
    this.shown = true;
    if (first !== this.first || second !== this.second) {
      this.first = first;
      this.second = second;
      this.found = null;
      this.job = 0;
      write(element("compare-error"), "");
      this.show();
    }
    const two = first !== "" && second !== "";
    element("compare-nothing").hidden = two;
    element("compare-all").hidden = !two;
    if (!two) return;
    this.heard(this.page.state());
    void this.load();
  }

  close() {
    this.shown = false;
  }

  relabel() {
    this.show();
  }

  path() {
    return `/comparisons/${encodeURIComponent(`${this.first}~${this.second}`)}`;
  }

  async load() {
    const asked = this.path();
    try {
      const found = await keptComparison(asked);
      if (asked !== this.path()) return;
      this.found = found;
      this.show();
    } catch (error) {
      this.page.acts.failed(error);
    }
  }

  async start() {
    write(element("compare-error"), "");
    const minutes = this.minutes.value === "" ? null : this.minutes.valueAsNumber;
    const asked = { first: this.first, second: this.second, minutes_between: minutes, same_view: this.sameView.checked };
    const { done, answer } = await this.page.acts.run("POST", "/comparisons", asked, element("compare-form"));
    if (done) this.showJob(answer);
  }

  /** @param {DeviceState | null} state */
  heard(state) {
    const job = state?.comparison ?? null;
    if (!this.shown || state === null) return;
    if (job === null || job.first !== this.first || job.second !== this.second) this.showJob(null);
    else this.showJob(job);
  }

  /** @param {ComparisonJob | null} job of these two */
  showJob(job) {
    const running = job !== null && !job.finished;
    element("compare-progress").hidden = !running;
    element("compare-form").hidden = running;
    if (running) {
      this.running = true;
      element("compare-bar", HTMLProgressElement).value = job.done;
      write(element("compare-share"), shareText(job.done));
      return;
    }
    if (job === null || job.number === this.job) return;
    this.job = job.number;
    write(element("compare-error"), job.stopped ? words("compare-was-stopped") : job.error === "" ? "" : words("compare-failed", { why: said(job.error) }));
    if (this.running && job.error === "" && !job.stopped) void this.load();
    this.running = false;
  }

  show() {
    const { found } = this;
    write(element("compare-pair"), words("compare-pair", { first: this.first, second: this.second }));
    write(element("compare-start"), words(found === null ? "compare-start" : "compare-again"));
    write(element("compare-standing"), found === null ? words("compare-not-yet") : this.standing(found));
    for (const id of ["compare-figures", "compare-said"]) element(id).hidden = found === null;
    if (found === null) {
      element("compare-pictures").hidden = true;
      return;
    }
    this.pictures.show(found, this.path());
    write(element("compare-reference"), words("compare-reference", { reference: found.reference }));
    element("compare-regions").replaceChildren(...regionCards(found));
    element("compare-warnings").replaceChildren(...found.warnings.map((line) => made("li", "", said(line))));
    element("compare-cautions").replaceChildren(...found.cautions.map((line) => made("li", "", said(line))));
    for (const id of ["compare-save-picture", "compare-save-points"]) element(id).hidden = found.pictures === null;
    element("compare-save-points", HTMLAnchorElement).href = `/api/v1${this.path()}/points.csv`;
    element("compare-save-table", HTMLAnchorElement).href = `/api/v1${this.path()}/comparison.csv`;
  }

  async savePicture() {
    const { found } = this;
    if (found === null) return;
    try {
      const { compareSheet } = await import("./compare_sheet.js");
      const pictures = await Promise.all(this.pictures.images.map((image) => createImageBitmap(image)));
      saveFile(await compareSheet(found, pictures), `${found.first}_and_${found.second}.png`);
    } catch {
      this.page.line.say(words("review-not-saved"));
    }
  }

  /** @param {Comparison} found */
  standing(found) {
    const gone = found.recordings_are_there ? [] : [words("compare-gone")];
    return [words("compare-made", { when: momentText(found.made_at) }), betweenText(found), alignedText(found), ...gone].join(" ");
  }
}
