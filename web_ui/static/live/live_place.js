/** @import { DeviceState, PictureHeader } from "../page/device_state.js" */
/** @import { Point } from "../picture/region_text.js" */

import { Acts } from "../page/acts.js";
import { CalmLine } from "../page/calm_line.js";
import { ContoursSheet } from "./contours_sheet.js";
import { ControlPlace } from "../pairing/control_place.js";
import { ask, Unpaired } from "../page/device_api.js";
import { element, write } from "../page/element.js";
import { ExposureSheet } from "./exposure_sheet.js";
import { Freshness, isLive, notLiveText } from "../picture/freshness.js";
import { Legend } from "../picture/legend.js";
import { LightButton } from "./light_button.js";
import { lightSentence } from "./light_words.js";
import { NoteSheet } from "./note_sheet.js";
import { PictureCanvas } from "../picture/picture_canvas.js";
import { PictureFinger } from "../picture/picture_finger.js";
import { fitPicture } from "../picture/picture_fit.js";
import { PictureStream } from "../picture/picture_stream.js";
import { RecordingsSheet } from "./recordings_sheet.js";
import { RegionActs } from "../picture/region_acts.js";
import { RegionMarks } from "../picture/region_marks.js";
import { rectangleBetween, regionAt, regionText } from "../picture/region_text.js";
import { RegionsSheet } from "./regions_sheet.js";
import { RunActions } from "./run_actions.js";
import { Sheets } from "../page/sheets.js";
import { SpotMenu } from "../picture/spot_menu.js";
import { calibrationText, KNOWN_FOR_MS, StatusLine } from "./status_line.js";
import { TabletsSheet } from "../pairing/tablets_sheet.js";
import { ValuesList } from "./values_list.js";

/** Numbers on the picture change no more often than this: faster ones cannot be read. */
const VALUES_EVERY_MS = 250;

/** How often the page asks itself whether the picture is still live. */
const LOOK_EVERY_MS = 50;

/** The live picture with its values, status and actions. */
export class LivePlace {
  /**
   * @param {string} picturesUrl
   * @param {import("../picture/legend_scale.js").PercentColours} percentColours
   * @param {() => void} unpaired
   */
  constructor(picturesUrl, percentColours, unpaired) {
    this.unpaired = unpaired;
    /** @type {DeviceState | null} */
    this.state = null;
    this.stateAt = 0;
    this.connected = false;
    /** @type {PictureHeader | null} */
    this.header = null;
    this.valuesAt = 0;
    const current = () => this.knownState();
    this.line = new CalmLine();
    this.acts = new Acts(this.line, unpaired, (state) => this.heard(state, true), () => this.control.askForControl());
    this.tablets = new TabletsSheet(this.acts, unpaired);
    this.control = new ControlPlace(this.acts, (standing) => this.tablets.show(standing));
    this.regionActs = new RegionActs(this.acts, current);
    this.freshness = new Freshness();
    this.status = new StatusLine();
    this.marks = new RegionMarks();
    this.values = new ValuesList();
    this.legend = new Legend(percentColours);
    this.light = new LightButton(this.acts, current);
    this.spotMenu = new SpotMenu(this.regionActs);
    this.recordings = new RecordingsSheet(this.acts);
    for (const opener of document.querySelectorAll("[data-sheet]")) opener.addEventListener("click", () => this.line.makeRoom());
    this.sheets = new Sheets({ "sheet-recordings": () => void this.recordings.opened(), "sheet-tablets": () => void this.tablets.opened() });
    this.run = new RunActions(this.acts, current, this.sheets, () => this.recordings.caseCode());
    this.shownByState = [new RegionsSheet(this.regionActs), new ContoursSheet(this.acts), new ExposureSheet(this.acts, current), this.recordings, this.light, this.run];
    new NoteSheet(this.acts, () => this.sheets.closeAll());
    this.listenToPicture();
    this.stream = this.openStream(picturesUrl);
    fitPicture(element("stage"), element("picture"), () => this.shape());
    setInterval(() => this.look(), LOOK_EVERY_MS);
    for (const event of ["visibilitychange", "pageshow", "focus"]) addEventListener(event, () => this.look(), true);
  }

  /** @param {string} url */
  openStream(url) {
    const canvas = new PictureCanvas(element("canvas", HTMLCanvasElement), this.freshness, {
      drawn: (header) => this.drawn(header),
      passedOver: (header) => this.stream.drawn(header.publication),
      failed: (error) => this.line.say(`A picture could not be shown: ${error instanceof Error ? error.message : error}`),
    });
    const stream = new PictureStream(url, {
      picture: (message) => canvas.offer(message),
      state: (state, deviceUp) => this.heard(state, deviceUp),
      access: (access) => this.control.show(access),
      connection: (open) => this.connectionChanged(open),
    });
    stream.connect();
    return stream;
  }

  listenToPicture() {
    new PictureFinger(element("picture"), element("canvas"), () => this.shape(), {
      touch: (at) => {
        if (!this.spotMenu.close()) this.regionActs.touched(at);
      },
      hold: (at) => this.held(at),
      drag: (from, to, done) => this.dragged(from, to, done),
      given: () => this.marks.sketch(null),
    });
  }

  /** What the picture shows, once there is one. */
  shape() {
    const header = this.header;
    return header && { width: header.width, height: header.height, sideBySide: header.view === "side by side" };
  }

  /** @returns {DeviceState | null} what the device said last, unless that is too long ago to be true */
  knownState() {
    return this.connected && performance.now() - this.stateAt < KNOWN_FOR_MS ? this.state : null;
  }

  /** @param {PictureHeader} header */
  drawn(header) {
    this.stream.drawn(header.publication);
    const before = this.header;
    this.header = header;
    if (before?.view !== header.view || before.width !== header.width || before.height !== header.height) {
      fitPicture(element("stage"), element("picture"), () => this.shape());
    }
    this.legend.show(header);
    const now = performance.now();
    if (now - this.valuesAt >= VALUES_EVERY_MS || before?.view !== header.view || before.lit !== header.lit || before.values.length !== header.values.length) {
      this.valuesAt = now;
      const shape = this.shape();
      if (shape !== null) this.marks.show(shape, header.reference, header.values, header.sequence);
      this.values.show(header.values);
    }
    this.look();
  }

  /**
   * @param {DeviceState | null} state
   * @param {boolean} deviceUp
   */
  heard(state, deviceUp) {
    this.state = deviceUp ? state : null;
    this.stateAt = performance.now();
    for (const part of this.shownByState) part.show(this.state);
    this.look();
  }

  /** @param {boolean} open */
  connectionChanged(open) {
    this.connected = open;
    if (open) void this.control.learn();
    else {
      this.state = null;
      this.light.release();
      void this.checkPaired();
    }
    this.look();
  }

  /** A socket does not say why it was refused; the interface does. */
  async checkPaired() {
    try {
      await ask("GET", "/state");
    } catch (error) {
      if (error instanceof Unpaired) this.unpaired();
    }
  }

  /** Looks at the clock, whether or not anything came: the picture must never look live when it is not. */
  look() {
    const ageMs = this.freshness.ageMs();
    const live = isLive(ageMs, this.connected) && !document.hidden;
    this.status.showPicture(live, ageMs);
    const band = element("band");
    band.hidden = live;
    if (!live) write(band, notLiveText(ageMs));
    const state = this.knownState();
    this.status.showState(state, performance.now() - this.stateAt);
    this.line.stand(this.standingWords(state));
    element("reference-wish").hidden = !live || state === null || state.reference !== null;
    write(element("reference-wish-words"), wishWords(this.header?.lit ?? false, state?.hold_to_light ?? true));
    if (state !== null) this.showDevice(state);
  }

  /** @param {DeviceState | null} state */
  standingWords(state) {
    if (state === null) return "";
    const light = lightSentence(state.light, this.light.rearmed);
    if (light !== "") return light;
    if (this.header?.reference?.flag === "reference saturated") {
      return "The reference is saturated: no percent can be told. Dim the light.";
    }
    if (state.recording.name === null && state.recording.ended_because) {
      return `The recording stopped by itself: ${state.recording.ended_because}`;
    }
    return state.warnings[0] ?? "";
  }

  /** @param {DeviceState} state */
  showDevice(state) {
    const { model, width, height, kind } = state.camera;
    write(element("device-words"), `Camera ${model} (${kind}), ${width} × ${height}; ${calibrationText(state.calibration)}.`);
    const warnings = element("device-warnings");
    write(warnings, state.warnings.join(" "));
  }

  /** @param {Point} at */
  held(at) {
    const state = this.knownState();
    const shape = this.shape();
    if (state === null || shape === null) return;
    const finger = shape.width * 0.015;
    const region = regionAt(state.regions.map((one) => one.region), at, finger);
    const reference = region === null && state.reference ? regionAt([state.reference.region], at, finger) : null;
    const x = (at.x / shape.width) * (shape.sideBySide ? 0.5 : 1) + (shape.sideBySide ? 0.5 : 0);
    this.spotMenu.open(at, region, reference !== null, { x, y: at.y / shape.height });
  }

  /**
   * @param {Point} from
   * @param {Point} to
   * @param {boolean} done
   */
  dragged(from, to, done) {
    this.marks.sketch(done ? null : regionText(rectangleBetween("new", from, to)));
    if (done) this.regionActs.drawnRound(from, to);
  }
}

/**
 * What to do next where no reference is set yet.
 *
 * @param {boolean} lit whether the picture was lit
 * @param {boolean} holdToLight
 */
function wishWords(lit, holdToLight) {
  if (lit) return "Touch healthy skin: it becomes 100\u00a0%";
  return holdToLight ? "Hold Light and touch healthy skin: it becomes 100\u00a0%" : "Press Light, then touch healthy skin: it becomes 100\u00a0%";
}
