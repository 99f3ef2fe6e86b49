/** @import { DeviceState, PictureHeader } from "../page/device_state.js" */
/** @import { Page, Place } from "../page/place.js" */
/** @import { Point } from "../picture/region_text.js" */

import { ContoursSheet } from "./contours_sheet.js";
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
import { RecordingsSheet } from "./recordings_sheet.js";
import { RegionActs } from "../picture/region_acts.js";
import { RegionMarks } from "../picture/region_marks.js";
import { rectangleBetween, regionAt, regionText } from "../picture/region_text.js";
import { RegionsSheet } from "./regions_sheet.js";
import { RunActions } from "./run_actions.js";
import { SpotMenu } from "../picture/spot_menu.js";
import { calibrationText, StatusLine } from "./status_line.js";
import { ValuesList } from "./values_list.js";

/** Numbers on the picture change no more often than this: faster ones cannot be read. */
const VALUES_EVERY_MS = 250;

/** How often the page asks itself whether the picture is still live. */
const LOOK_EVERY_MS = 50;

/**
 * The live picture with its values, status and actions.
 *
 * @implements {Place}
 */
export class LivePlace {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.shown = false;
    /** @type {PictureHeader | null} */
    this.header = null;
    this.valuesAt = 0;
    this.line = page.line;
    const { acts, sheets } = page;
    const current = () => page.state();
    this.regionActs = new RegionActs(acts, current);
    this.freshness = new Freshness();
    this.status = new StatusLine();
    this.marks = new RegionMarks();
    this.values = new ValuesList();
    this.legend = new Legend(JSON.parse(element("percent-colours").textContent ?? ""));
    this.light = new LightButton(acts, current);
    this.spotMenu = new SpotMenu(this.regionActs);
    this.recordings = new RecordingsSheet(acts);
    sheets.whenOpened("sheet-recordings", () => void this.recordings.opened());
    this.run = new RunActions(acts, current, sheets, () => this.recordings.caseCode());
    this.shownByState = [new RegionsSheet(this.regionActs), new ContoursSheet(acts), new ExposureSheet(acts, current), this.recordings, this.light, this.run];
    new NoteSheet(acts, () => sheets.closeAll());
    this.listenToPicture();
    this.canvas = this.makeCanvas();
    fitPicture(element("stage"), element("picture"), () => this.shape());
    page.onState((state) => this.heard(state));
    setInterval(() => this.look(), LOOK_EVERY_MS);
    for (const event of ["visibilitychange", "pageshow", "focus"]) addEventListener(event, () => this.look(), true);
  }

  open() {
    if (this.shown) return;
    this.shown = true;
    this.page.takePictures((message) => this.canvas.offer(message));
    this.heard(this.page.state());
  }

  /** A finger that is not on the button is no finger: light held by it ends. */
  close() {
    this.shown = false;
    this.light.release();
    this.page.takePictures(null);
    this.freshness.lost();
    this.line.stand("");
  }

  makeCanvas() {
    return new PictureCanvas(element("canvas", HTMLCanvasElement), this.freshness, {
      drawn: (header) => this.drawn(header),
      passedOver: (header) => this.page.stream.drawn(header.publication),
      failed: (error) => this.line.say(`A picture could not be shown: ${error instanceof Error ? error.message : error}`),
    });
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

  /** @param {PictureHeader} header */
  drawn(header) {
    this.page.stream.drawn(header.publication);
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

  /** @param {DeviceState | null} state */
  heard(state) {
    if (!this.page.known.connected) this.light.release();
    if (!this.shown) return;
    for (const part of this.shownByState) part.show(state);
    this.look();
  }

  /** Looks at the clock, whether or not anything came: the picture must never look live when it is not. */
  look() {
    if (!this.shown) return;
    const ageMs = this.freshness.ageMs();
    const live = isLive(ageMs, this.page.known.connected) && !document.hidden;
    this.status.showPicture(live, ageMs);
    const band = element("band");
    band.hidden = live;
    if (!live) write(band, notLiveText(ageMs));
    const state = this.page.state();
    this.status.showState(state, this.page.known.sinceMs());
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
    const state = this.page.state();
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
