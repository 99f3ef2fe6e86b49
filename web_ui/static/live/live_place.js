/** @import { DeviceState, PictureHeader } from "../page/device_state.js" */
/** @import { Page, Place } from "../page/place.js" */
/** @import { Point } from "../picture/region_text.js" */

import { CaseSheet } from "./case_sheet.js";
import { ContoursSheet } from "./contours_sheet.js";
import { CurvesPanel } from "./curves_panel.js";
import { DyeClock } from "./dye_clock.js";
import { element, write } from "../page/element.js";
import { ExposureSheet } from "./exposure_sheet.js";
import { FrozenPicture } from "./frozen_picture.js";
import { Freshness, isLive, notLiveText } from "../picture/freshness.js";
import { Legend } from "../picture/legend.js";
import { LightButton } from "./light_button.js";
import { lightSentence } from "./light_words.js";
import { NoteSheet } from "./note_sheet.js";
import { PictureCanvas } from "../picture/picture_canvas.js";
import { copies, shownPoint, windowOf } from "../picture/picture_geometry.js";
import { PictureFinger } from "../picture/picture_finger.js";
import { fitPicture } from "../picture/picture_fit.js";
import { PictureTools } from "./picture_tools.js";
import { PictureZoom } from "../picture/picture_zoom.js";
import { RegionActs } from "../picture/region_acts.js";
import { RegionDrawer } from "./region_drawer.js";
import { RegionMarks } from "../picture/region_marks.js";
import { rectangleBetween, regionAt, regionText } from "../picture/region_text.js";
import { RegionsSheet } from "./regions_sheet.js";
import { RunActions } from "./run_actions.js";
import { ScaleBar } from "./scale_bar.js";
import { said } from "../page/said.js";
import { SpotMenu } from "../picture/spot_menu.js";
import { put, words } from "../page/words.js";
import { calibrationText, StatusLine } from "./status_line.js";

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
    /** How old the newest picture is that came, shown or not. */
    this.arrivals = new Freshness();
    this.status = new StatusLine();
    this.marks = new RegionMarks();
    this.legend = new Legend(JSON.parse(element("percent-colours").textContent ?? ""));
    this.light = new LightButton(acts, current);
    this.zoom = new PictureZoom(() => this.shape(), () => this.zoomed());
    this.drawer = new RegionDrawer(page, this.regionActs, this.marks, () => this.shape(), () => this.header?.mm_per_px ?? null);
    this.spotMenu = new SpotMenu(this.regionActs, this.drawer);
    this.curves = new CurvesPanel(page);
    this.clock = new DyeClock();
    this.scale = new ScaleBar();
    this.tools = new PictureTools(this.zoom);
    const openCase = new CaseSheet(acts);
    this.run = new RunActions(acts, current, sheets, () => openCase.caseCode());
    this.shownByState = [new RegionsSheet(this.regionActs, this.drawer), new ContoursSheet(acts), new ExposureSheet(acts, current), openCase, this.light, this.run, this.curves];
    this.notes = new NoteSheet(acts, () => sheets.closeAll());
    this.listenToPicture();
    this.canvas = this.makeCanvas();
    this.frozen = new FrozenPicture(this.canvas, () => isLive(this.freshness.ageMs(), page.known.connected), () => this.frozenChanged());
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
    this.drawer.leave();
    this.frozen.melt();
    this.page.takePictures(null);
    this.freshness.lost();
    this.line.stand("");
  }

  relabel() {
    this.notes.relabel();
    this.curves.relabel();
    this.showMarks();
    this.look();
  }

  makeCanvas() {
    return new PictureCanvas(
      element("canvas", HTMLCanvasElement),
      this.freshness,
      {
        drawn: (header) => this.drawn(header),
        held: ({ header, ageMs, received }) => {
          this.arrivals.drawn(ageMs, received);
          this.curves.take(header);
        },
        onItsWayMs: (sentMs, receivedMs) => this.page.stream.onItsWayMs(sentMs, receivedMs),
        passedOver: (header) => this.page.stream.drawn(header.publication),
        failed: (error) => this.line.say(words("live-picture-failed", { why: error instanceof Error ? error.message : String(error) })),
      },
      (header) => this.shapeOf(header),
    );
  }

  listenToPicture() {
    const meant = {
      touch: (/** @type {Point} */ at) => {
        if (this.spotMenu.close() || this.isFrozen()) return;
        if (this.drawer.active) this.drawer.touched(at);
        else this.regionActs.touched(at);
      },
      hold: (/** @type {Point} */ at) => this.held(at),
      drag: (/** @type {Point} */ from, /** @type {Point} */ to, /** @type {boolean} */ done) => this.dragged(from, to, done),
      given: () => this.drawer.show(),
      back: () => this.drawer.back(),
      leave: () => this.drawer.leave(),
    };
    new PictureFinger(element("picture"), element("canvas"), () => this.shape(), meant, this.zoom);
  }

  /** What the picture shows, once there is one. */
  shape() {
    return this.header && this.shapeOf(this.header);
  }

  /** @param {PictureHeader} header */
  shapeOf(header) {
    return { width: header.width, height: header.height, sideBySide: header.view === "side by side", window: this.zoom.window };
  }

  /** Another part of the picture is shown: also of one that is frozen. */
  zoomed() {
    this.tools.show();
    this.canvas.redraw();
    this.showMarks();
  }

  showMarks() {
    const shape = this.shape();
    if (shape === null || this.header === null) return;
    this.marks.show(shape, this.header.reference, this.header.values, this.header.sequence);
    this.scale.show(shape, this.header.mm_per_px ?? null);
    if (this.drawer.active) this.drawer.show();
  }

  /** Nothing is marked on a picture of the past: the tissue may lie elsewhere by now. */
  isFrozen() {
    if (this.frozen.frozen) this.line.say(words("live-frozen-marks"), [{ word: words("live-melt"), run: () => this.frozen.melt() }]);
    return this.frozen.frozen;
  }

  frozenChanged() {
    if (this.frozen.frozen) {
      this.drawer.leave();
      this.arrivals.shown = this.freshness.shown;
    }
    this.look();
  }

  /** @param {PictureHeader} header */
  drawn(header) {
    this.page.stream.drawn(header.publication);
    this.curves.take(header);
    const before = this.header;
    this.header = header;
    if (before?.view !== header.view || before.width !== header.width || before.height !== header.height) {
      fitPicture(element("stage"), element("picture"), () => this.shape());
    }
    this.legend.show(header);
    const now = performance.now();
    if (now - this.valuesAt >= VALUES_EVERY_MS || before?.view !== header.view || before.lit !== header.lit || before.values.length !== header.values.length) {
      this.valuesAt = now;
      this.showMarks();
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
    const live = this.lookAtPicture();
    const state = this.page.state();
    this.status.showState(state, this.page.known.sinceMs(), this.page.stream.bySingles);
    this.clock.show(state === null || state.since_injection_s === null ? null : state.since_injection_s + this.page.known.sinceMs() / 1000);
    this.line.stand(this.standingWords(state));
    const busy = !live || this.frozen.frozen || this.drawer.active;
    element("reference-wish").hidden = busy || state === null || state.reference !== null;
    if (state === null) return;
    write(element("reference-wish-words"), wishWords(this.header?.lit ?? false, state.hold_to_light ?? true));
    this.showDevice(state);
  }

  /** @returns {boolean} whether pictures come as they are taken; of a frozen one the stream behind it counts, and that is said as well */
  lookAtPicture() {
    const shownMs = this.freshness.ageMs();
    this.frozen.look(shownMs);
    const newestMs = this.frozen.frozen ? this.arrivals.ageMs() : shownMs;
    const live = isLive(newestMs, this.page.known.connected) && !document.hidden;
    this.status.showPicture(live, this.frozen.frozen, shownMs);
    const band = element("band");
    band.hidden = live;
    if (!live) write(band, notLiveText(newestMs));
    return live;
  }

  /** @param {DeviceState | null} state */
  standingWords(state) {
    if (state === null) return "";
    const light = lightSentence(state.light, this.light.rearmed);
    if (light !== "") return light;
    if (this.header?.reference?.flag === "reference saturated") {
      return words("live-reference-saturated");
    }
    if (state.recording.name === null && state.recording.ended_because) {
      return words("live-recording-ended", { why: said(state.recording.ended_because) });
    }
    return said(state.warnings[0] ?? "");
  }

  /** @param {DeviceState} state */
  showDevice(state) {
    const { model, width, height, kind } = state.camera;
    put(element("device-words"), "live-camera", { model, kind, size: `${width} × ${height}`, calibration: calibrationText(state.calibration) });
    const warnings = element("device-warnings");
    write(warnings, state.warnings.map(said).join(" "));
  }

  /** @param {Point} at */
  held(at) {
    const state = this.page.state();
    const shape = this.shape();
    if (state === null || shape === null || this.isFrozen()) return;
    if (this.drawer.active) {
      this.drawer.touched(at); // a slow finger is a touch all the same
      return;
    }
    const finger = windowOf(shape).width * 0.015;
    const region = regionAt(state.regions.map((one) => one.region), at, finger);
    const reference = region === null && state.reference ? regionAt([state.reference.region], at, finger) : null;
    this.spotMenu.open(at, region, reference !== null, shownPoint(shape, at, copies(shape).length - 1));
  }

  /**
   * @param {Point} from
   * @param {Point} to
   * @param {boolean} done
   */
  dragged(from, to, done) {
    if (this.frozen.frozen) {
      if (done) this.isFrozen();
      return;
    }
    if (this.drawer.active) {
      this.drawer.dragged(from, to, done);
      return;
    }
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
  if (lit) return words("live-wish");
  return holdToLight ? words("live-wish-hold") : words("live-wish-press");
}
