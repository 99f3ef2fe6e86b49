/** @import { DeviceState, PictureHeader } from "../page/device_state.js" */
/** @import { Page } from "../page/place.js" */

import { eventSign } from "../charts/event_look.js";
import { eventWords, onceEach } from "../charts/event_words.js";
import { ask } from "../page/device_api.js";
import { element } from "../page/element.js";
import { keep, kept } from "../page/kept.js";
import { words } from "../page/words.js";
import { REFERENCE_NAME } from "../picture/region_acts.js";
import { GrowingChart } from "./growing_chart.js";
import { GrowingCurves, seenIn, sensorMs } from "./growing_curves.js";

/** The chart is drawn no more often than this. */
const DRAWN_EVERY_MS = 400;

/** About so many are drawn: more than a tablet has pixels across take its time from the picture. */
const POINTS_DRAWN = 800;

/** A chart begins so long before the dye. */
const BEFORE_DYE_MS = 5000;

/** What could not be asked for is asked for again after this. */
const AGAIN_MS = 2000;

/** The curves of reference and regions, growing with the pictures; they can be folded away. */
export class CurvesPanel {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.panel = element("curves");
    this.teach = element("curves-teach");
    this.opener = element("curves-fold");
    this.curves = new GrowingCurves();
    this.chart = new GrowingChart(element("curves-chart"), { name: words("live-curves"), lines: [words("review-caution")] });
    this.asking = false;
    this.askedAt = -Infinity;
    this.drawnAt = 0;
    this.happened = 0;
    /** @type {PictureHeader | null} */
    this.header = null;
    this.fold(kept("curves") === "folded");
    this.opener.onclick = () => {
      this.fold(!this.panel.hidden);
      keep("curves", this.panel.hidden ? "folded" : "open");
    };
    element("curves-save").onclick = () => this.save();
  }

  /** @param {boolean} folded */
  fold(folded) {
    this.panel.hidden = folded;
    this.opener.setAttribute("aria-expanded", String(!folded));
    this.drawnAt = 0;
  }

  /**
   * What the device kept while this tablet was away.
   *
   * @param {PictureHeader} header from here on the pictures tell it
   * @param {number} [happened] the count of what happened, as the device said it
   */
  async catchUp(header, happened = this.happened) {
    const now = performance.now();
    if (now - this.askedAt < AGAIN_MS) return;
    this.asking = true;
    this.askedAt = now;
    try {
      for (let more = true; more; ) {
        const answer = await ask("GET", `/curves?after_ms=${this.curves.lastMs}`);
        this.curves.take(answer);
        more = answer.more;
      }
      this.happened = happened;
      this.curves.seenMs = Math.max(sensorMs(this.header ?? header), this.curves.lastMs);
    } catch {
      // the status line says that the device is not there; the next picture asks again
    } finally {
      this.asking = false;
    }
  }

  /** @param {PictureHeader} header of every picture that came, also while an older one is held on the screen */
  take(header) {
    this.header = header;
    if (this.asking) return;
    const done = this.curves.add(header);
    if (done === "backwards") this.curves.clear();
    if (done === "missed" || done === "backwards") void this.catchUp(header);
    this.draw();
  }

  draw() {
    const now = performance.now();
    if (this.panel.hidden || this.header === null || now - this.drawnAt < DRAWN_EVERY_MS) return;
    this.drawnAt = now;
    const empty = seenIn(this.header).length === 0;
    this.teach.hidden = !empty;
    element("curves-chart").hidden = empty;
    if (!empty) this.drawCurves(this.header, POINTS_DRAWN);
  }

  /**
   * @param {PictureHeader} header
   * @param {number} most points
   */
  drawCurves(header, most) {
    const { reference, since_injection_s: since } = header;
    const wanted = seenIn(header).map(({ name, region }) => ({ name: name === REFERENCE_NAME ? words("picture-reference") : name, region }));
    const injected_ms = since === null ? null : header.sensor_time_ns / 1e6 - since * 1000;
    const from_ms = injected_ms === null ? -Infinity : injected_ms - BEFORE_DYE_MS;
    const { inPercent, ...shown } = this.curves.shown(wanted, reference !== null, from_ms, injected_ms ?? this.curves.times_ms[0] ?? 0, most);
    this.chart.grow({
      ...shown,
      events: this.events(injected_ms),
      unit: inPercent ? "%" : words("live-curves-signal-unit"),
      xLabel: injected_ms === null ? words("live-curves-time") : words("live-curves-since-dye"),
      yLabel: inPercent ? words("live-curves-of-reference") : words("live-curves-signal"),
    });
  }

  /** @param {number | null} injected_ms */
  events(injected_ms) {
    const zero_ms = injected_ms ?? this.curves.times_ms[0] ?? 0;
    const told = onceEach(this.curves.happened).map(({ time_ms, kind, text }) => (
      { at_s: (time_ms - zero_ms) / 1000, kind, text: eventWords({ kind, text }), mark: eventSign(kind) }
    ));
    return [...(injected_ms === null ? [] : [{ at_s: 0, kind: "injection", text: words("live-dye-in") }]), ...told];
  }

  /** What happened is asked for when there is something new. @param {DeviceState | null} state */
  show(state) {
    const happened = state?.happened ?? 0;
    if (happened !== this.happened && this.header !== null && !this.asking) void this.catchUp(this.header, happened);
  }

  save() {
    this.page.sheets.closeAll();
    if (this.chart.plot === null || this.header === null) {
      this.page.line.say(words("live-curves-none"));
      return;
    }
    const { header } = this;
    this.page.line.say(words("live-curves-keep"), [
      { word: words("charts-save-picture"), run: () => void this.chart.savePicture() },
      {
        word: words("charts-save-table"),
        run: () => {
          this.drawCurves(header, Infinity);
          this.chart.saveTable();
        },
      },
    ]);
  }

  relabel() {
    this.drawnAt = 0;
    this.draw();
  }
}
