/** @import { DeviceState } from "../page/device_state.js" */
/** @import { Page, Place } from "../page/place.js" */
/** @import { Commissioning } from "./commissioning_types.js" */

import { ask } from "../page/device_api.js";
import { element, write } from "../page/element.js";
import { words } from "../page/words.js";
import { HistorySheet } from "./history_sheet.js";
import { nextCard, sheetOfNext } from "./next_card.js";
import { PapersSheet } from "./papers_sheet.js";
import { StepList } from "./step_list.js";
import { isSheet } from "./step_words.js";
import { WalkSheet } from "./walk_sheet.js";
import { WalkWatch } from "./walk_watch.js";

const LOOK_AGAIN_MS = 3000;

/**
 * What is calibrated, when, how old, and what to do next; the check before a case; each step as a walk one is led through.
 *
 * @implements {Place}
 */
export class CommissioningPlace {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    /** @type {Commissioning | null} */
    this.known = null;
    this.named = "";
    this.shown = false;
    this.walked = "";
    this.timer = 0;
    this.detail = element("commissioning-detail");
    this.list = new StepList(element("commissioning-list"), page);
    this.watch = new WalkWatch({
      say: () => ask("PUT", "/commissioning/walk"),
      repeat: (run, ms) => {
        const timer = setInterval(run, ms);
        return () => clearInterval(timer);
      },
      inSight: () => !document.hidden,
    });
    /** @type {WalkSheet | HistorySheet | PapersSheet | null} */
    this.sheet = null;
    page.onState((state) => {
      this.watch.heard(state);
      this.heard(state);
    });
  }

  /** @param {string[]} parts */
  open([name = ""]) {
    this.shown = true;
    this.named = isSheet(name) ? name : "";
    element("commissioning").classList.toggle("has-chosen", this.named !== "");
    this.choose();
    void this.refresh();
  }

  close() {
    this.shown = false;
    clearTimeout(this.timer);
  }

  relabel() {
    this.list.text = "";
    this.sheet?.close();
    this.sheet = null;
    this.choose();
  }

  /** Beside the list stands what was chosen, or else what comes next. */
  choose() {
    const name = this.named || (this.known === null ? "" : sheetOfNext(this.known));
    if (name !== (this.sheet?.name ?? "")) {
      this.sheet?.close();
      this.sheet = this.sheetOf(name);
      this.detail.replaceChildren(...(this.sheet === null ? [] : [this.sheet.place]));
      this.detail.scrollTop = 0;
    }
    this.show();
  }

  /** @param {string} name */
  sheetOf(name) {
    if (name === "") return null;
    if (name === "history") return new HistorySheet(this);
    if (name === "papers") return new PapersSheet(this);
    return new WalkSheet(this, /** @type {import("./commissioning_types.js").Walk} */ (name));
  }

  /** Ask the device what it knows, now and again while it cannot be asked. */
  async refresh() {
    clearTimeout(this.timer);
    const { done, answer } = await this.page.acts.run("GET", "/commissioning");
    if (done) this.told(answer);
    else if (this.shown) this.timer = window.setTimeout(() => void this.refresh(), LOOK_AGAIN_MS);
  }

  /** @param {Commissioning} known */
  told(known) {
    const first = this.known === null;
    this.known = known;
    if (first) this.choose();
    else this.show();
    if (known.paper?.running && this.shown) this.timer = window.setTimeout(() => void this.refresh(), 700);
  }

  show() {
    const unknown = element("commissioning-not-known");
    unknown.hidden = this.known !== null;
    if (this.known === null) {
      write(unknown, words("commissioning-not-known"));
      return;
    }
    const card = element("commissioning-next");
    card.hidden = false;
    card.replaceChildren(...nextCard(this, this.known));
    write(element("commissioning-trouble"), this.known.trouble);
    this.list.show(this.known, this.named || (this.sheet?.name ?? ""));
    this.sheet?.show();
  }

  /** @param {DeviceState | null} state */
  heard(state) {
    if (!this.shown || this.known === null) return;
    const now = state === null ? this.walked : changing(state);
    if (now !== this.walked) {
      this.walked = now;
      void this.refresh();
    }
    this.list.show(this.known, this.named || (this.sheet?.name ?? ""));
    this.sheet?.heard(state);
  }

  /** Keep the result that waits; the former calibration can be taken up again at once. @param {Element} pressed */
  async keep(pressed) {
    const step = this.known?.proposal?.step;
    const former = step === "light" ? this.formerLight() : this.formerCalibration();
    const { done, answer } = await this.page.acts.run("POST", "/commissioning/proposal", { keep: true }, pressed);
    if (!done) return;
    this.settled(answer);
    this.page.line.say(words("commissioning-kept"), former === null ? [] : [{ word: words("commissioning-undo"), run: former }]);
  }

  /** What takes the newest calibration up again, as it is before another is kept; null where there is none. */
  formerCalibration() {
    const name = this.known?.calibrations[0]?.name;
    return name === undefined ? null : () => void this.use(name);
  }

  formerLight() {
    const measured = this.known?.steps.some(({ step, made_at }) => step === "light" && made_at !== "") ?? false;
    return measured ? () => void this.take("/commissioning/use-former-light") : null;
  }

  askDiscard() {
    this.page.line.say(words("commissioning-discard-question"), [{ word: words("commissioning-discard"), run: () => void this.discard() }], words("commissioning-cancel"));
  }

  async discard() {
    const { done, answer } = await this.page.acts.run("POST", "/commissioning/proposal", { keep: false });
    if (!done) return;
    this.settled(answer);
    this.page.line.say(words("commissioning-discarded"));
  }

  /** @param {Commissioning} known */
  settled(known) {
    this.told(known);
    element("commissioning-next").querySelector("button")?.focus({ preventScroll: true });
  }

  /**
   * @param {string} name of an older calibration
   * @param {Element} [pressed]
   */
  use(name, pressed) {
    return this.take("/commissioning/use", { name }, pressed);
  }

  /**
   * Take something older up again.
   *
   * @param {string} path
   * @param {object} [asked]
   * @param {Element} [pressed]
   */
  async take(path, asked, pressed) {
    const { done, answer } = await this.page.acts.run("POST", path, asked, pressed);
    if (!done) return;
    this.told(answer);
    this.page.line.say(words("commissioning-used"));
  }

  askForce() {
    const go = () => void this.page.acts.run("POST", "/commissioning/in-force").then(({ done }) => {
      if (done) this.page.line.say(words("commissioning-forcing"));
      this.timer = window.setTimeout(() => void this.refresh(), LOOK_AGAIN_MS);
    });
    this.page.line.say(words("commissioning-force-asked"), [{ word: words("commissioning-next-force-now"), run: go }], words("commissioning-cancel"));
  }
}

/** What the sheets lean on besides what they were told: when it differs, they are written anew. @param {DeviceState} state */
function changing({ walk, light }) {
  return `${walk?.started_at} ${walk?.running} ${light.state === "tripped"}`;
}
