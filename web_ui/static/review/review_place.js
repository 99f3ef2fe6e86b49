/** @import { DeviceState, RegionValue } from "../page/device_state.js" */
/** @import { Page, Place } from "../page/place.js" */
/** @import { Point } from "../picture/region_text.js" */
/** @import { Drawn } from "./moment_picture.js" */
/** @import { AnalysisJob, KeptAnalysis, Moment, RegionState, ReviewedRecording } from "./review_types.js" */

import { EventTimeline } from "../charts/event_timeline.js";
import { button, element, write } from "../page/element.js";
import { made } from "../page/made.js";
import { momentText } from "../page/moment_text.js";
import { words } from "../page/words.js";
import { PictureFinger } from "../picture/picture_finger.js";
import { PictureZoom } from "../picture/picture_zoom.js";
import { fitPicture } from "../picture/picture_fit.js";
import { RegionMarks } from "../picture/region_marks.js";
import { parsedRegion, rectangleBetween, regionAt, regionText } from "../picture/region_text.js";
import { AnalysisBar } from "./analysis_bar.js";
import { cautionWords } from "./caution_words.js";
import { CurvesPanel } from "./curves_panel.js";
import { toldEvents } from "./event_words.js";
import { FiguresPanel } from "./figures_panel.js";
import { MapsPanel } from "./maps_panel.js";
import { MarkActs } from "./mark_acts.js";
import { MomentPicture } from "./moment_picture.js";
import { NewestWins } from "./newest_wins.js";
import { NotesPanel } from "./notes_panel.js";
import { PanelTabs } from "./panel_tabs.js";
import { fetchPatiently, learnPatiently } from "./patient_fetch.js";
import { PercentScale } from "./percent_scale.js";
import { recordingPath } from "./recording_path.js";
import { RegionBar } from "./region_bar.js";
import { RegionDraw } from "./region_draw.js";
import { ScrubBar } from "./scrub_bar.js";

/** @type {{view: "grey" | "relative" | "side by side", word: () => string}[]} */
const VIEWS = [
  { view: "relative", word: () => words("review-view-relative") },
  { view: "grey", word: () => words("review-view-grey") },
  { view: "side by side", word: () => words("review-view-both") },
];

/** Stands for the values of a moment that were not read yet. */
const NOT_YET = "…";

/** Values on the picture change no more often than this while it plays. */
const VALUES_EVERY_MS = 500;

/**
 * A recording looked at again: moment by moment, its curves, figures, maps and notes.
 *
 * @implements {Place}
 */
export class ReviewPlace {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    /** @type {ReviewedRecording | null} */
    this.review = null;
    /** @type {KeptAnalysis | null} */
    this.analysis = null;
    /** @type {Moment | null} */
    this.moment = null;
    /** @type {Drawn | null} the frame on the screen */
    this.onScreen = null;
    this.name = "";
    this.isOpen = false;
    /** @type {"grey" | "relative" | "side by side"} */
    this.view = "relative";
    this.valuesAt = 0;
    this.resting = true;
    this.jobKey = "";
    this.mapsReady = "";
    const colours = JSON.parse(element("percent-colours").textContent ?? "");
    this.scale = new PercentScale(colours);
    this.marks = new RegionMarks(element("review-outlines", SVGSVGElement), element("review-labels"));
    this.picture = new MomentPicture(page.acts, () => this.shape(), { drawn: (drawn) => this.drawn(drawn) });
    this.values = new NewestWins((/** @type {number} */ at_s) => this.learnValues(at_s));
    this.scrub = new ScrubBar((at_s, resting) => this.moved(at_s, resting));
    this.timeline = new EventTimeline(element("review-timeline"), ({ at_s, text }) => {
      this.scrub.stop();
      this.scrub.go(at_s);
      this.say(words("review-event-said", { what: text }));
    });
    this.markActs = new MarkActs(page.acts, () => this.review, () => this.scrub.playback.at_s, () => this.learnAgain());
    this.regionBar = new RegionBar(this.markActs);
    this.drawer = new RegionDraw(this.markActs, this.marks, () => this.shape(), () => this.review?.mm_per_px ?? null);
    this.zoom = new PictureZoom(() => this.shape(), () => this.zoomed());
    element("review-zoom").onclick = () => this.zoom.whole();
    this.curves = new CurvesPanel((at_s) => {
      this.scrub.stop();
      this.scrub.go(at_s);
    });
    this.figures = new FiguresPanel();
    this.maps = new MapsPanel(page.acts, colours.colours);
    this.notes = new NotesPanel(page.acts, () => this.scrub.playback.at_s, (at_s) => this.scrub.go(at_s), () => this.learnAgain());
    this.bar = new AnalysisBar(page.acts);
    this.tabs = new PanelTabs(element("review-tabs"));
    element("review-still").onclick = () => void this.saveStill();
    this.listenToPicture();
    page.onState((state) => this.heard(state));
    fitPicture(element("review-stage"), element("review-picture"), () => this.shape());
    new ResizeObserver(() => this.showMarks()).observe(element("review-picture"));
  }

  /** @param {string[]} parts */
  open([name = ""]) {
    this.isOpen = true;
    if (name === this.name && this.review !== null) {
      this.scrub.go(this.scrub.playback.at_s);
      return;
    }
    this.name = name;
    this.review = null;
    this.analysis = null;
    this.moment = null;
    this.onScreen = null;
    this.regionBar.close();
    this.drawer.leave();
    this.zoom.whole();
    element("review-none").hidden = name !== "";
    element("review-whole").hidden = name === "";
    if (name !== "") void this.begin();
  }

  close() {
    this.isOpen = false;
    this.scrub.close();
    this.picture.close();
    this.values.forget();
  }

  relabel() {
    if (this.review === null) return;
    this.showViews();
    this.showAll(this.review);
  }

  async begin() {
    this.mapsReady = this.page.state()?.maps_ready ?? "";
    if (!(await this.learn(false))) {
      element("review-none").hidden = false;
      element("review-whole").hidden = true;
      return;
    }
    const review = this.review;
    if (review === null) return;
    // where the dye is seen, not the dark beginning
    const at_s = review.injected_at_s === null ? 0 : Math.min(review.injected_at_s + 60, review.seconds);
    this.scrub.show(review, at_s);
    this.showViews();
    fitPicture(element("review-stage"), element("review-picture"), () => this.shape());
  }

  /** Ask the device anew what it has of this recording. @param {boolean} isShown whether a moment of it is on the screen already */
  async learn(isShown = true) {
    const { name } = this;
    /** @type {ReviewedRecording | null} */
    const review = await learnPatiently(this.page.acts, recordingPath(name, "review"));
    if (review === null || name !== this.name) return false;
    this.review = review;
    this.analysis = await this.keptAnalysis(review);
    if (name !== this.name) return false;
    this.showAll(review);
    if (this.isOpen && isShown) this.moved(this.scrub.playback.at_s, !this.scrub.playback.playing);
    return true;
  }

  async learnAgain() {
    await this.learn();
  }

  /** @param {ReviewedRecording} review @returns {Promise<KeptAnalysis | null>} */
  async keptAnalysis({ name, has_analysis }) {
    if (!has_analysis) return null;
    return learnPatiently(this.page.acts, recordingPath(name, "analysis"));
  }

  /** @param {ReviewedRecording} review */
  showAll(review) {
    const events = toldEvents(review);
    write(element("review-title"), review.case || review.name);
    write(element("review-about"), aboutText(review));
    this.timeline.show(events, 0, Math.max(review.seconds - review.frame_interval_s, 0));
    this.curves.show(review, this.analysis, events);
    this.curves.setHere(this.scrub.playback.at_s);
    this.figures.show(this.analysis);
    element("review-curves-none").hidden = this.analysis !== null;
    element("review-figures-none").hidden = this.analysis !== null;
    element("review-maps-none").hidden = review.has_maps;
    void this.maps.show(review);
    this.notes.show(review);
    this.showCautions(review);
    this.bar.show(review, this.analysis, this.job());
    this.scale.show(review.full_scale_percent, this.inPercent());
  }

  /** @param {ReviewedRecording} review */
  showCautions(review) {
    const lines = cautionWords(review, this.analysis);
    element("review-cautions").hidden = lines.length === 0;
    write(element("review-cautions-title"), words("review-cautions", { number: lines.length }));
    element("review-cautions-list").replaceChildren(...lines.map((line) => made("li", "", line)));
  }

  showViews() {
    element("review-views").replaceChildren(...VIEWS.map(({ view, word }) => {
      const choice = button(word(), () => this.chooseView(view));
      choice.setAttribute("aria-pressed", String(view === this.view));
      return choice;
    }));
  }

  /** @param {"grey" | "relative" | "side by side"} view */
  chooseView(view) {
    this.view = view;
    this.showViews();
    this.moved(this.scrub.playback.at_s, !this.scrub.playback.playing);
  }

  inPercent() {
    return this.view !== "grey" && this.moment?.reference?.flag === "";
  }

  /** @param {DeviceState | null} [state] @returns {AnalysisJob | null} the newest, where it is of this recording */
  job(state = this.page.state()) {
    const job = state?.analysis ?? null;
    return job !== null && job.recording === this.name ? job : null;
  }

  /** An analysis that ends, and maps of a run that become ready after it was opened, are shown at once. @param {DeviceState | null} state */
  heard(state) {
    if (!this.isOpen || this.review === null) return;
    const own = this.job(state);
    this.bar.show(this.review, this.analysis, own);
    const key = own === null ? "" : `${own.number} ${own.finished}`;
    const ended = own !== null && own.finished && this.jobKey === `${own.number} false`;
    this.jobKey = key;
    const mapsReady = state?.maps_ready ?? this.mapsReady;
    const mapsCame = mapsReady !== this.mapsReady && !this.review.has_maps;
    this.mapsReady = mapsReady;
    if (ended || mapsCame) void this.learn();
  }

  /** @param {number} at_s @param {boolean} resting */
  moved(at_s, resting) {
    const review = this.review;
    if (review === null || !this.isOpen || review.frames === 0) return;
    const contours = review.contours_percent.join(",");
    this.picture.show({ name: review.name, at_s, view: this.view, whole: resting, contours });
    this.curves.setHere(at_s);
    this.resting = resting;
    const now = performance.now();
    if (!resting && now - this.valuesAt < VALUES_EVERY_MS) return;
    this.valuesAt = now;
    this.values.ask(at_s);
  }

  /** @param {Drawn} drawn */
  drawn(drawn) {
    const { time_s, regions, place } = drawn;
    this.onScreen = drawn;
    element("review-canvas").dataset["time"] = String(time_s);
    if (this.resting) this.withdrawOlder(time_s);
    this.marks.follow(regions, place === "lost");
    fitPicture(element("review-stage"), element("review-picture"), () => this.shape());
  }

  /** @param {number} at_s */
  async learnValues(at_s) {
    const { name } = this;
    const isWanted = () => this.isOpen && name === this.name && this.values.waiting === null;
    try {
      const moment = await momentAt(name, at_s, isWanted);
      if (name !== this.name) return;
      this.moment = moment;
      this.showMarks();
      if (this.review !== null) this.scale.show(this.review.full_scale_percent, this.inPercent());
    } catch (error) {
      if (!isWanted()) return;
      this.withdrawOlder(at_s);
      this.page.acts.failed(error);
    }
  }

  /** No value of one moment stands beside the picture of another that rests. @param {number} time_s of the picture */
  withdrawOlder(time_s) {
    const { moment, review } = this;
    if (moment === null || review === null || Math.abs(moment.time_s - time_s) < review.frame_interval_s / 2) return;
    const regions = moment.regions.map((one) => ({ ...one, percent: null, percent_u: null, flag: NOT_YET }));
    this.moment = { ...moment, regions };
    this.showMarks();
  }

  showMarks() {
    const { moment } = this;
    const shape = this.shape();
    if (shape !== null && moment !== null) this.marks.show(shape, moment.reference && asShown(moment.reference), moment.regions.map(asShown), moment.number);
  }

  shape() {
    const review = this.review;
    return review && { width: review.width, height: review.height, sideBySide: this.view === "side by side", window: this.zoom.window };
  }

  listenToPicture() {
    new PictureFinger(element("review-picture"), element("review-canvas"), () => this.shape(), {
      touch: (at) => this.touched(at),
      hold: (at) => this.touched(at),
      drag: (from, to, done) => this.dragged(from, to, done),
      given: () => this.drawer.show(),
      back: () => this.drawer.back(),
      leave: () => this.drawer.leave(),
    }, this.zoom);
  }

  /** @param {Point} from @param {Point} to @param {boolean} done */
  dragged(from, to, done) {
    if (this.drawer.active) {
      this.drawer.dragged(from, to, done);
      return;
    }
    this.marks.sketch(done ? null : regionText(rectangleBetween("new", from, to)));
    if (done) this.markActs.drawnRound(from, to);
  }

  zoomed() {
    element("review-zoom").hidden = this.zoom.window === null;
    this.picture.draw();
    this.showMarks();
    if (this.drawer.active) this.drawer.show();
  }

  /** @param {Point} at */
  touched(at) {
    const review = this.review;
    if (this.drawer.active) {
      this.drawer.touched(at);
      return;
    }
    if (this.regionBar.close() || review === null) return;
    this.scrub.stop();
    const reference = review.reference?.region ?? null;
    const marked = [...(reference === null ? [] : [reference]), ...review.regions.map(({ region }) => region)];
    const lying = this.marks.marked.length === marked.length ? this.marks.marked.map(({ value }) => value.region) : marked;
    const found = marked[lying.indexOf(regionAt(lying, at, review.width * 0.015) ?? "")];
    if (found !== undefined) this.regionBar.open(found, found === reference);
    else this.markActs.touched(at);
  }

  /** What is kept is the frame on the screen, with the values of that frame: the clock may be further on already. */
  async saveStill() {
    try {
      const { saveMoment, withOutlines } = await import("./moment_still.js");
      const { review, onScreen, view } = this;
      const shape = this.shape();
      if (review === null || onScreen === null || shape === null) return;
      const drawing = withOutlines(element("review-canvas", HTMLCanvasElement), shape, onScreen, review.reference !== null);
      await saveMoment(review, view, await momentAt(review.name, onScreen.time_s), drawing);
    } catch {
      this.say(words("review-not-saved"));
    }
  }

  /** @param {string} line */
  say(line) {
    this.page.line.say(line);
  }
}

/**
 * @param {string} name
 * @param {number} at_s
 * @param {() => boolean} [isWanted] while it is, it is waited for
 * @returns {Promise<Moment>}
 */
async function momentAt(name, at_s, isWanted) {
  return (await fetchPatiently(`${recordingPath(name, "moment")}?at_s=${at_s}`, isWanted)).json();
}

/** @param {RegionState} state @returns {RegionValue} */
function asShown(state) {
  return { ...state, signal: null, signal_u: null, baseline: 0, baseline_u: 0 };
}

/** @param {ReviewedRecording} review */
function aboutText({ started_at, name, case: code, reference, has_baseline }) {
  const began = started_at === "" || Number.isNaN(Date.parse(started_at)) ? "" : momentText(started_at);
  const percent = reference === null ? "" : words(has_baseline ? "review-percent-of" : "review-percent-of-all", { reference: parsedRegion(reference.region).name });
  return [began, code === "" ? "" : name, percent].filter((one) => one !== "").join(" · ");
}
