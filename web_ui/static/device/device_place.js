/** @import { DeviceState } from "../page/device_state.js" */
/** @import { Page, Place } from "../page/place.js" */
/** @import { About, SettingLine, Trip } from "./device_types.js" */

import { ask, Refusal } from "../page/device_api.js";
import { element, write } from "../page/element.js";
import { made } from "../page/made.js";
import { momentText } from "../page/moment_text.js";
import { said } from "../page/said.js";
import { words } from "../page/words.js";
import { clockFacts } from "./clock_facts.js";
import { calibrationFacts, cameraFacts, networkFacts, programFacts, storageFacts } from "./device_facts.js";
import { FactList } from "./fact_list.js";
import { lightFacts } from "./light_facts.js";

const ASK_EVERY_MS = 5000;
const SHOW_EVERY_MS = 500;

/**
 * Everything that is really known of the device, to be read.
 *
 * @implements {Place}
 */
export class DevicePlace {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    /** @type {About | null} */
    this.about = null;
    this.heardMs = 0;
    this.timer = 0;
    this.asking = 0;
    this.settingsText = this.tripsText = "";
    /** What the device, or the page's own server, says where it could not be asked. */
    this.trouble = "";
    const list = (/** @type {string} */ id) => new FactList(element(id));
    this.lists = {
      light: list("device-light-facts"),
      storage: list("device-storage-facts"),
      clock: list("device-clock-facts"),
      camera: list("device-camera-facts"),
      calibration: list("device-calibration-facts"),
      programs: list("device-program-facts"),
      network: list("device-network-facts"),
    };
    element("device-commissioning").onclick = () => page.go("commissioning");
  }

  open() {
    clearInterval(this.timer);
    this.timer = window.setInterval(() => this.show(), SHOW_EVERY_MS);
    void this.ask();
  }

  close() {
    clearInterval(this.timer);
    clearTimeout(this.asking);
  }

  relabel() {
    this.settingsText = this.tripsText = "";
    this.show();
  }

  async ask() {
    clearTimeout(this.asking);
    try {
      this.about = await ask("GET", "/device");
      this.heardMs = Date.now();
      this.trouble = "";
    } catch (error) {
      this.trouble = error instanceof Refusal ? said(error.ofDevice ?? error.message) : "";
      if (!(error instanceof Refusal)) this.page.acts.failed(error);
    }
    this.asking = window.setTimeout(() => void this.ask(), ASK_EVERY_MS);
    this.show();
  }

  show() {
    const state = this.page.state();
    const unknown = element("device-unknown");
    unknown.hidden = state !== null;
    if (state === null) write(unknown, [`${words("device-program-imager")}: ${words("device-program-silent")}.`, this.trouble].filter(Boolean).join(" "));
    else this.showState(state);
    if (this.about === null) return;
    this.lists.clock.show(clockFacts(this.about.device, this.heardMs));
    this.lists.network.show(networkFacts(this.about.page));
    this.showTrips(this.about.device.trips);
    this.showSettings(this.about.device.settings, this.about.device.settings_file);
  }

  /** @param {DeviceState} state */
  showState(state) {
    this.lists.light.show(lightFacts(state.light));
    this.lists.calibration.show(calibrationFacts(state));
    element("device-warnings-card").hidden = state.warnings.length === 0;
    write(element("device-warning-words"), state.warnings.map(said).join(" · "));
    if (this.about === null) return;
    this.lists.storage.show(storageFacts(state, this.about.device));
    this.lists.camera.show(cameraFacts(state, this.about.device));
    this.lists.programs.show(programFacts(state, this.about.device, this.about.page));
  }

  /** @param {Trip[]} trips */
  showTrips(trips) {
    const text = JSON.stringify(trips);
    if (text === this.tripsText) return;
    this.tripsText = text;
    const rows = trips.map(({ at, reason, tried }) =>
      made("li", "trip", made("strong", "", momentText(at)), made("span", "", said(reason)), ...(tried ? [made("span", "trip-tried", words("device-trip-tried"))] : [])),
    );
    element("device-trip-list").replaceChildren(...(rows.length === 0 ? [made("li", "teach", words("device-trips-none"))] : rows));
  }

  /**
   * @param {SettingLine[]} settings
   * @param {string} file
   */
  showSettings(settings, file) {
    const text = JSON.stringify([settings, file]);
    if (text === this.settingsText) return;
    this.settingsText = text;
    write(element("device-settings-where"), file === "" ? words("device-settings-nowhere") : words("device-settings-where", { file }));
    const sections = [...new Set(settings.map((one) => one.section))];
    element("device-settings-list").replaceChildren(
      ...sections.map((section) => {
        const own = settings.filter((one) => one.section === section);
        const changed = own.filter((one) => one.changed).length;
        const mark = changed === 0 ? [] : [made("span", "setting-changed", words("device-setting-changed"))];
        const rows = own.map(settingRow);
        return made("details", "setting-section", made("summary", "", made("strong", "", section), ...mark), made("dl", "facts", ...rows));
      }),
    );
  }
}

/** @param {SettingLine} line */
function settingRow({ key, value, changed, about }) {
  const mark = changed ? [made("span", "setting-changed", words("device-setting-changed"))] : [];
  const comment = made("small", "setting-about", about);
  comment.lang = "en"; // the settings' own comment, in the file's language
  return made("div", "fact", made("dt", "", key), made("dd", "", made("strong", "", value), ...mark, ...(about === "" ? [] : [comment])));
}
