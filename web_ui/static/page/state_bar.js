/** @import { DeviceState } from "./device_state.js" */
/** @import { Page } from "./place.js" */

import { element, write } from "./element.js";
import { dyeWord, lightWord, recordingWord } from "./state_words.js";
import { onLanguage, words } from "./words.js";
import { STALE_AFTER_MS } from "../picture/freshness.js";

const LOOK_EVERY_MS = 250;

/** Places that show pictures of another time: nobody may take them for live. */
const SHOW_RECORDED = new Set(["review", "compare"]);


/**
 * What must be seen wherever one is: that this is not the live picture, whether one comes, light, recording, dye. The live place says
 * it larger.
 *
 * The light can be put out from here, never lit: nobody lights what they do not see.
 */
export class StateBar {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.root = document.body;
    this.place = "";
    element("bar-live").onclick = () => page.go("live");
    element("bar-light").onclick = () => this.lightOut();
    page.onState(() => this.look());
    onLanguage(() => this.look());
    setInterval(() => this.look(), LOOK_EVERY_MS);
  }

  lightOut() {
    if (wantsOut(this.page.state())) void this.page.acts.run("POST", "/light", { act: "off" }, element("bar-light"));
    else this.page.go("live");
  }

  /** @param {string} place */
  showAt(place) {
    this.place = place;
    element("bar").hidden = place === "" || place === "live";
    this.look();
  }

  look() {
    if (element("bar").hidden) return;
    const state = this.page.state();
    this.mark(state);
    write(element("bar-live-act"), words(isLive(state) ? "page-to-live" : "page-no-picture-comes"));
    write(element("bar-light-word"), state === null ? words("page-light-not-known") : lightWord(state.light));
    write(element("bar-light-act"), words(wantsOut(state) ? "page-light-put-out" : "page-light-at-live"));
    write(element("bar-recording-word"), state === null ? words("page-recording-not-known") : recordingWord(state.recording));
    const since = state?.since_injection_s ?? null;
    write(element("bar-dye-word"), dyeWord(since === null ? null : since + this.page.known.sinceMs() / 1000));
  }

  /** @param {DeviceState | null} state */
  mark(state) {
    const marks = {
      "not-live": !isLive(state) || SHOW_RECORDED.has(this.place),
      "not-known": state === null,
      lit: isLit(state),
      tripped: state !== null && state.light.reachable && state.light.state === "tripped",
      recording: state !== null && state.recording.name !== null,
    };
    for (const [name, set] of Object.entries(marks)) this.root.classList.toggle(name, set);
  }
}

/** @param {DeviceState | null} state */
function isLive(state) {
  return state !== null && state.camera.frame_age_ms <= STALE_AFTER_MS;
}

/** @param {DeviceState | null} state */
function isLit(state) {
  return state !== null && state.light.reachable && state.light.state === "lit";
}

/** @param {DeviceState | null} state */
function wantsOut(state) {
  return isLit(state) || state?.light.wanted_on === true;
}
