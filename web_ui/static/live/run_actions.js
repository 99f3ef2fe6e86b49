/** @import { Acts } from "../page/acts.js" */
/** @import { DeviceState, View } from "../page/device_state.js" */
/** @import { Sheets } from "../page/sheets.js" */

import { element } from "../page/element.js";
import { durationText } from "../page/moment_text.js";
import { language, put, words } from "../page/words.js";

/** @type {View[]} */
const VIEWS = ["grey", "relative", "side by side"];

/** @type {Record<View, string>} */
const VIEW_WORDS = { "grey": "live-view-grey", "relative": "live-view-relative", "side by side": "live-view-side-by-side" };

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
    /** @type {View | null} the view on its way to the device: two quick touches are two steps */
    this.asked = null;
    /** @type {Promise<unknown>} done when the device has all of them, in the order of the touches */
    this.sent = Promise.resolve();
    element("act-dye").onclick = () => this.atThePicture(() => this.dyePressed());
    element("act-record").onclick = () => this.atThePicture(() => this.record());
    element("act-still").onclick = () => this.atThePicture(() => this.still());
    element("act-view").onclick = () => void this.nextView();
  }

  /**
   * Whoever acts looks at the picture: sheets leave it.
   *
   * @param {() => Promise<void>} act
   */
  atThePicture(act) {
    this.sheets.closeAll();
    void act();
  }

  /** Once it runs the clock is asked about first: a wrong touch must not begin it anew, nor take what was there before the dye again. */
  async dyePressed() {
    const known = this.state() ?? (await this.acts.run("GET", "/state", undefined, element("act-dye"))).answer;
    if (known === null) return;
    const since = known.since_injection_s;
    if (since === null) {
      await this.dyeIn();
      return;
    }
    this.acts.line.say(words("live-dye-again-ask", { time: durationText(since) }), [
      { word: words("live-dye-again"), run: () => void this.dyeIn() },
      { word: words("live-dye-undo"), run: () => void this.dyeOut() },
    ]);
  }

  async dyeIn() {
    const wasRunning = this.state()?.recording.name ?? null;
    const asked = { undo: false, case: this.caseCode() };
    const { done, answer } = await this.acts.run("POST", "/injection", asked, element("act-dye"));
    if (!done) return;
    this.acts.line.say(dyeWords(wasRunning, answer.recording.name), [{ word: words("live-undo"), run: () => void this.dyeOut() }]);
  }

  /** The recording goes on: what it holds cannot be seen again, and stopping it is asked for elsewhere. */
  async dyeOut() {
    const { done, answer } = await this.acts.run("POST", "/injection", { undo: true }, element("act-dye"));
    if (!done) return;
    this.acts.line.say(answer.recording.name === null ? words("live-dye-undone") : words("live-dye-undone-recording"));
  }

  /** Starting is one touch; stopping cannot be undone, so it is asked. */
  async record() {
    const running = this.state()?.recording.name ?? null;
    if (running === null) {
      await this.acts.run("POST", "/recording", { act: "start", case: this.caseCode() }, element("act-record"));
      return;
    }
    this.acts.line.say(words("live-stop-ask"), [{ word: words("live-stop"), run: () => void this.stopRecording() }], words("live-go-on"));
  }

  async stopRecording() {
    const { done } = await this.acts.run("POST", "/recording", { act: "stop" }, element("act-record"));
    if (done) this.acts.line.say(words("live-recording-kept"));
  }

  async still() {
    const { done, answer } = await this.acts.run("POST", "/stills", { language: language() }, element("act-still"));
    if (!done) return;
    this.acts.line.say(words("live-still-kept", { name: answer.name }), [{ word: words("live-show"), run: () => this.showStill(answer.name) }]);
  }

  /** @param {string} name */
  showStill(name) {
    const address = `/api/v1/stills/${encodeURIComponent(name)}`;
    element("still-picture", HTMLImageElement).src = address;
    element("still-link", HTMLAnchorElement).href = address;
    this.sheets.open("sheet-still");
  }

  async nextView() {
    const now = this.asked ?? this.state()?.view ?? "grey";
    const next = VIEWS[(VIEWS.indexOf(now) + 1) % VIEWS.length] ?? "grey";
    this.asked = next;
    put(element("view-word"), VIEW_WORDS[next]);
    this.sent = this.sent.then(() => this.acts.run("PUT", "/view", { view: next }, element("act-view")));
    await this.sent;
    if (this.asked === next) this.asked = null;
  }

  /** @param {DeviceState | null} state */
  show(state) {
    if (state === null) return;
    element("act-record").setAttribute("aria-pressed", String(state.recording.name !== null));
    if (this.asked === null) put(element("view-word"), VIEW_WORDS[state.view]);
  }
}

/**
 * What to say once the device knows that dye went in. Why no recording runs, the standing line says.
 *
 * @param {string | null} before the recording that ran before
 * @param {string | null} now the one that runs now
 */
export function dyeWords(before, now) {
  if (now === null) return words("live-dye-in-clock");
  return before === null ? words("live-dye-in-recording") : words("live-dye-in-goes-on");
}
