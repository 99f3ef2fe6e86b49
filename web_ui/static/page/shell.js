/** @import { DeviceState } from "./device_state.js" */
/** @import { Page } from "./place.js" */

import { Acts } from "./acts.js";
import { CalmLine } from "./calm_line.js";
import { ask, Unpaired, Unreachable } from "./device_api.js";
import { Installed } from "./installed.js";
import { KnownState } from "./known_state.js";
import { Places } from "./places.js";
import { PlacesSheet } from "./places_sheet.js";
import { Sheets } from "./sheets.js";
import { StateBar } from "./state_bar.js";
import { WakeLock } from "./wake_lock.js";
import { onLanguage, words } from "./words.js";
import { ControlPlace } from "../pairing/control_place.js";
import { TabletsSheet } from "../pairing/tablets_sheet.js";
import { PictureStream } from "../picture/picture_stream.js";

/**
 * What every place uses: the device's stream and state, who controls, the line, the sheets, the way to other places.
 *
 * @implements {Page}
 */
export class Shell {
  /**
   * @param {string} picturesUrl
   * @param {() => void} pairAgain
   */
  constructor(picturesUrl, pairAgain) {
    this.words = words;
    this.unpaired = pairAgain;
    this.line = new CalmLine();
    this.known = new KnownState();
    this.acts = new Acts(this.line, pairAgain, (state) => this.known.heard(state, true), () => this.control.askForControl());
    this.tablets = new TabletsSheet(this.acts, pairAgain);
    this.control = new ControlPlace(this.acts, (standing) => this.tablets.show(standing));
    this.sheets = new Sheets();
    this.sheets.whenOpened("sheet-tablets", () => void this.tablets.opened());
    for (const opener of document.querySelectorAll("[data-sheet]")) opener.addEventListener("click", () => this.line.makeRoom());
    /** @type {((message: ArrayBuffer) => void) | null} */
    this.taker = null;
    this.unanswered = false;
    this.stream = this.makeStream(picturesUrl);
    this.bar = new StateBar(this);
    this.wakeLock = new WakeLock();
    this.places = new Places(this, (name) => this.arrived(name));
    this.placesSheet = new PlacesSheet(this);
    this.away = false;
    this.newer = false;
    this.installed = new Installed(() => this.foundNewer());
    onLanguage(() => {
      this.places.relabel();
      this.standAbove();
    });
  }

  /** @param {string} url */
  makeStream(url) {
    return new PictureStream(url, {
      picture: (message) => this.picture(message),
      state: (state, deviceUp) => this.known.heard(state, deviceUp),
      access: (access) => this.control.show(access),
      connection: (open) => this.connectionChanged(open),
    });
  }

  /** Paired: the place that the address names is on the screen. */
  async open() {
    await this.places.resume();
    this.stream.connect();
  }

  /** Nothing is shown to whoever is not paired. */
  shut() {
    this.places.suspend();
  }

  /** @param {((message: ArrayBuffer) => void) | null} take */
  takePictures(take) {
    this.taker = take;
    // pictures that nobody took were never answered, so no more come: begin anew, with the newest
    if (take !== null && this.unanswered) this.stream.connect();
    this.unanswered = false;
  }

  /** @param {ArrayBuffer} message */
  picture(message) {
    if (this.taker === null) this.unanswered = true;
    else this.taker(message);
  }

  /**
   * @param {string} place
   * @param {string[]} parts
   */
  go(place, ...parts) {
    this.places.go(place, ...parts);
  }

  state() {
    return this.known.state();
  }

  /** @param {(state: DeviceState | null) => void} heard */
  onState(heard) {
    this.known.listeners.push(heard);
  }

  /** @param {boolean} open */
  connectionChanged(open) {
    this.known.connection(open);
    if (open) {
      this.away = false;
      this.standAbove();
      this.installed.look();
      void this.control.learn();
    } else void this.checkPaired();
  }

  /** @param {string} place empty: none */
  arrived(place) {
    this.bar.showAt(place);
    this.wakeLock.want(place === "live");
  }

  foundNewer() {
    this.newer = true;
    this.standAbove();
  }

  /** What everyone must know wherever they are. */
  standAbove() {
    if (this.away) this.line.standAbove(words("page-away"));
    else if (this.newer) this.line.standAbove(words("page-newer"), [{ word: words("page-load-newer"), run: () => location.reload() }]);
    else this.line.standAbove("");
  }

  /** A socket does not say why it was refused; the interface does. */
  async checkPaired() {
    try {
      await ask("GET", "/state");
    } catch (error) {
      if (error instanceof Unpaired) this.unpaired();
      else if (error instanceof Unreachable && !this.known.connected) {
        this.away = true;
        this.standAbove();
      }
    }
  }
}
