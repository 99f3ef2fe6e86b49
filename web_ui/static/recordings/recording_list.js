/** @import { Page } from "../page/place.js" */
/** @import { RecordingSummary, Recordings } from "./recordings_types.js" */
/** @import { Which } from "./which_recordings.js" */

import { ask } from "../page/device_api.js";
import { element, write } from "../page/element.js";
import { words } from "../page/words.js";
import { countText, titleText } from "./recording_text.js";
import { RecordingRow } from "./recording_row.js";
import { A_PAGE, ALL, recordingsPath } from "./which_recordings.js";

const READ_AGAIN_MS = 2000;

/** A page of recordings; what is chosen stays chosen on other pages. */
export class RecordingList {
  /**
   * @param {Page} page
   * @param {{chosen: () => void, changed: () => void}} told what was chosen, and that recordings came, went or changed
   */
  constructor(page, told) {
    this.page = page;
    this.told = told;
    this.place = element("recording-list");
    /** @type {Which} */
    this.which = { chosen: "", text: "", day: "" };
    /** @type {Map<string, RecordingSummary>} */
    this.chosen = new Map();
    /** @type {RecordingSummary[]} */
    this.shown = [];
    /** @type {Recordings | null} */
    this.answer = null;
    /** @type {string[]} where each page before this one began */
    this.before = [];
    this.after = "";
    this.asked = 0;
    this.timer = 0;
    element("list-older").onclick = () => this.turn(true);
    element("list-newer").onclick = () => this.turn(false);
  }

  /** @param {Which} which */
  open(which) {
    if (JSON.stringify(which) !== JSON.stringify(this.which)) {
      this.which = which;
      this.before = [];
      this.after = "";
      this.answer = null;
      this.place.replaceChildren();
    }
    return this.load();
  }

  close() {
    clearTimeout(this.timer);
  }

  /** @param {boolean} older */
  turn(older) {
    if (older) this.before.push(this.after);
    this.after = older ? (this.answer?.next ?? "") : (this.before.pop() ?? "");
    void this.load().then(() => {
      element("list-title").scrollIntoView({ block: "start" });
      element(older ? "list-older" : "list-newer").focus({ preventScroll: true });
    });
  }

  async load() {
    clearTimeout(this.timer);
    const asked = ++this.asked;
    this.place.setAttribute("aria-busy", "true");
    try {
      /** @type {Recordings} */
      const answer = await ask("GET", recordingsPath(this.which, this.after));
      if (asked !== this.asked) return;
      this.answer = answer;
      this.show();
      if (answer.unread > 0) this.timer = window.setTimeout(() => void this.load(), READ_AGAIN_MS);
    } catch (error) {
      if (asked === this.asked) this.page.acts.failed(error);
    } finally {
      if (asked === this.asked) this.place.removeAttribute("aria-busy");
    }
  }

  show() {
    const { answer } = this;
    if (answer === null) return;
    this.shown = answer.recordings;
    const running = this.page.state()?.recording.name ?? "";
    const withCase = [ALL, ""].includes(this.which.chosen);
    this.place.replaceChildren(...answer.recordings.map((one) => {
      const how = { chosen: this.chosen.has(one.name), running: one.name === running, withCase };
      return new RecordingRow(one, how, {
        choose: (name, chosen) => this.choose(name, chosen),
        remove: (name, row) => void this.remove(name, row),
        changeCase: (name, code, row) => void this.changeCase(name, code, row),
      }).place;
    }));
    this.showPages(answer);
    this.showTeach(answer);
    this.told.chosen();
  }

  /** @param {Recordings} answer */
  showPages(answer) {
    const first = this.before.length * A_PAGE;
    const range = { first: countText(first + 1), last: countText(first + answer.recordings.length), total: countText(answer.total) };
    element("list-pages").hidden = this.before.length === 0 && answer.next === "";
    write(element("list-range"), words("recordings-range", range));
    element("list-older", HTMLButtonElement).disabled = answer.next === "";
    element("list-newer", HTMLButtonElement).disabled = this.before.length === 0;
    const unread = answer.unread > 0 ? ` ${words("recordings-unread", { count: countText(answer.unread) })}` : "";
    write(element("list-about"), `${words("recordings-count", { count: answer.total, shown: countText(answer.total) })}${unread}`);
  }

  /** @param {Recordings} answer */
  showTeach(answer) {
    const empty = answer.total === 0 && answer.unread === 0;
    const searched = this.which.text !== "" || this.which.day !== "";
    element("list-teach").hidden = !empty;
    if (!empty) return;
    if (this.which.chosen !== "" && this.which.chosen !== ALL) write(element("list-teach"), words("recordings-empty-case"));
    else write(element("list-teach"), searched ? words("recordings-nothing-found") : words("recordings-teach"));
  }

  /**
   * @param {string} name
   * @param {boolean} chosen
   */
  choose(name, chosen) {
    const one = this.shown.find((recording) => recording.name === name);
    if (chosen && one !== undefined) this.chosen.set(name, one);
    else this.chosen.delete(name);
    this.told.chosen();
  }

  chooseNone() {
    this.chosen.clear();
    this.show();
  }

  /**
   * @param {string} name
   * @param {HTMLElement} row
   */
  async remove(name, row) {
    const { done, answer } = await this.page.acts.run("DELETE", `/recordings/${encodeURIComponent(name)}`, undefined, row);
    if (!done) return;
    const recording = this.shown.find((one) => one.name === name);
    this.chosen.delete(name);
    await this.load();
    this.told.changed();
    element("list-title").focus({ preventScroll: true });
    this.page.line.say(words("recordings-removed-one", { what: recording === undefined ? name : titleText(recording) }), [
      { word: words("recordings-bring-back"), run: () => void this.bringBack(answer.removed) },
    ]);
  }

  /** @param {string} removed */
  async bringBack(removed) {
    const { done } = await this.page.acts.run("POST", `/removed/${encodeURIComponent(removed)}/restore`);
    if (!done) return;
    this.page.line.say(words("recordings-is-back"));
    await this.load();
    this.told.changed();
  }

  /**
   * @param {string} name
   * @param {string} code
   * @param {HTMLElement} [row]
   * @param {boolean} [back] whether this undoes a change
   */
  async changeCase(name, code, row, back = false) {
    const before = this.shown.find((one) => one.name === name)?.case ?? "";
    const { done, answer } = await this.page.acts.run("PUT", `/recordings/${encodeURIComponent(name)}/case`, { case: code }, row);
    if (!done) return;
    this.chosen.delete(name);
    await this.load();
    this.told.changed();
    const said = words("recordings-case-changed", { case: code || words("recordings-no-case") });
    const undo = { word: words("recordings-put-back"), run: () => void this.changeCase(answer.recording, before, undefined, true) };
    this.page.line.say(said, back ? [] : [undo]);
  }
}
