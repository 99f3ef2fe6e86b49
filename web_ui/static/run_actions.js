/** @import { Acts } from "./acts.js" */
/** @import { DeviceState, View } from "./device_state.js" */
/** @import { Sheets } from "./sheets.js" */

import { element, write } from "./element.js";

/** @type {View[]} */
const VIEWS = ["grey", "relative", "side by side"];

/** Dye in, Record, Still and View. */
export class RunActions {
  /**
   * @param {Acts} acts
   * @param {() => DeviceState | null} state
   * @param {Sheets} sheets
   * @param {() => string} caseCode
   */
  constructor(acts, state, sheets, caseCode) {
    this.acts = acts;
    this.state = state;
    this.sheets = sheets;
    this.caseCode = caseCode;
    element("act-dye").onclick = () => void this.dyeIn();
    element("act-record").onclick = () => void this.record();
    element("act-still").onclick = () => void this.still();
    element("act-view").onclick = () => void this.nextView();
  }

  async dyeIn() {
    const { done } = await this.acts.run("POST", "/injection", { undo: false }, element("act-dye"));
    if (!done) return;
    this.acts.line.say("Dye in: the clock runs.", [
      { word: "Undo", run: () => void this.acts.run("POST", "/injection", { undo: true }) },
    ]);
  }

  /** Starting is one touch; stopping cannot be undone, so it is asked. */
  async record() {
    const running = this.state()?.recording.name ?? null;
    if (running === null) {
      await this.acts.run("POST", "/recording", { act: "start", case: this.caseCode() }, element("act-record"));
      return;
    }
    this.acts.line.say("Stop the recording?", [{ word: "Stop", run: () => void this.stopRecording() }], "Go on");
  }

  async stopRecording() {
    const { done } = await this.acts.run("POST", "/recording", { act: "stop" }, element("act-record"));
    if (done) this.acts.line.say("Recording kept.");
  }

  async still() {
    const { done, answer } = await this.acts.run("POST", "/stills", {}, element("act-still"));
    if (!done) return;
    this.acts.line.say(`Still kept: ${answer.name}`, [{ word: "Show", run: () => this.showStill(answer.name) }]);
  }

  /** @param {string} name */
  showStill(name) {
    const address = `/api/v1/stills/${encodeURIComponent(name)}`;
    element("still-picture", HTMLImageElement).src = address;
    element("still-link", HTMLAnchorElement).href = address;
    this.sheets.open("sheet-still");
  }

  async nextView() {
    const now = this.state()?.view ?? "grey";
    const next = VIEWS[(VIEWS.indexOf(now) + 1) % VIEWS.length] ?? "grey";
    write(element("view-word"), next);
    await this.acts.run("PUT", "/view", { view: next }, element("act-view"));
  }

  /** @param {DeviceState | null} state */
  show(state) {
    if (state === null) return;
    element("act-record").setAttribute("aria-pressed", String(state.recording.name !== null));
    if (element("act-view").getAttribute("aria-busy") === null) write(element("view-word"), state.view);
  }
}
