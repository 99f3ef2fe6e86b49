/** @import { PictureHeader, RegionValue } from "../page/device_state.js" */

import { parsedRegion, placeText } from "../picture/region_text.js";

/** Points are this far apart at least, as the device keeps them. */
const APART_MS = 200;

/** A longer pause between pictures is asked of the device, which saw what this tablet did not. */
const MISSED_MS = 1500;

/** More points than this are thinned out; a chart has fewer pixels. */
const MOST_POINTS = 6000;

/** The reference must stand this many of its own uncertainties above its baseline before anything is a percentage of it (our choice). */
const CLEAR_OF_NOISE = 10;

/**
 * @typedef {object} CurvesAnswer  As `shared/protocol/curves.py`.
 * @property {number[]} times_ms
 * @property {{place: string, signal: (number | null)[], signal_u: (number | null)[], baseline: number, baseline_u: number}[]} curves
 * @property {number[]} injections_ms
 * @property {boolean} more
 * @property {Happened[]} [happened] all that the device remembers
 *
 * @typedef {{time_ms: number, kind: string, text: string}} Happened
 *
 * @typedef {{signal: (number | null)[], u: (number | null)[], baseline: number, baseline_u: number}} Row
 * @typedef {{name: string, values: (number | null)[], low: (number | null)[], high: (number | null)[]}} Series
 * @typedef {{times_s: number[], series: Series[], inPercent: boolean}} Shown
 */

/** The curves as this tablet knows them: asked for once, then grown from the pictures themselves. Knows nothing of the page. */
export class GrowingCurves {
  constructor() {
    /** @type {number[]} on the sensor's clock */
    this.times_ms = [];
    /** @type {Map<string, Row>} by place */
    this.rows = new Map();
    /** @type {Happened[]} */
    this.happened = [];
    /** The newest picture that is told here, also where it added no point. */
    this.seenMs = -Infinity;
    this.dark = true;
  }

  clear() {
    this.times_ms = [];
    this.rows.clear();
    this.happened = [];
    this.seenMs = -Infinity;
    this.dark = true;
  }

  get lastMs() {
    return this.times_ms.at(-1) ?? -1;
  }

  /** What the device kept, later than the last point here. @param {CurvesAnswer} answer */
  take(answer) {
    this.happened = answer.happened ?? [];
    const fresh = answer.times_ms.findIndex((time) => time > this.lastMs);
    for (const { place, signal, signal_u: u, baseline, baseline_u } of answer.curves) {
      const row = this.row(place);
      [row.baseline, row.baseline_u] = [baseline, baseline_u];
      if (fresh >= 0) append(row, signal.slice(fresh), u.slice(fresh));
    }
    if (fresh >= 0) this.times_ms.push(...answer.times_ms.slice(fresh));
    this.even();
  }

  /**
   * A picture's own values, where it is time for the next point; darkness takes one, however long it lasts.
   *
   * @param {PictureHeader} header
   * @returns {"grown" | "too soon" | "missed" | "backwards"} "missed": ask the device for what lies between; "backwards": begin anew
   */
  add(header) {
    const now = sensorMs(header);
    if (now < this.seenMs) return "backwards";
    if (now - this.seenMs > MISSED_MS) return "missed";
    this.seenMs = now;
    const dark = !seenIn(header).some(({ signal }) => signal !== null);
    if (now - this.lastMs < APART_MS || (dark && this.dark)) return "too soon";
    this.dark = dark;
    this.put(now, header);
    return "grown";
  }

  /**
   * @param {number} now_ms
   * @param {PictureHeader} header
   */
  put(now_ms, header) {
    const before = this.times_ms.length;
    for (const value of seenIn(header)) {
      const row = this.row(placeOf(value.region));
      [row.baseline, row.baseline_u] = [value.baseline, value.baseline_u];
      if (row.signal.length === before) append(row, [value.signal], [value.signal_u]);
    }
    this.times_ms.push(now_ms);
    this.even();
    if (this.times_ms.length > MOST_POINTS) this.thin();
  }

  /**
   * Percent of the highest that the reference has been since `from_ms`; what was there before the dye is taken off. Where the
   * reference does not stand clear of its noise yet (or there is none), signals in their own unit.
   *
   * First-order propagation (JCGM 100:2008, clause 5.1.2); the band is one standard uncertainty each way.
   *
   * @param {{name: string, region: string}[]} wanted the reference first, where there is one
   * @param {boolean} hasReference
   * @param {number} from_ms shown from here
   * @param {number} zero_ms where the time axis begins to count
   * @param {number} [most] about so many points are enough; the highest is that of all
   * @returns {Shown}
   */
  shown(wanted, hasReference, from_ms, zero_ms, most = Infinity) {
    const first = this.times_ms.findIndex((time) => time >= from_ms);
    const from = first < 0 ? this.times_ms.length : first;
    const reference = hasReference && wanted[0] !== undefined ? this.rows.get(placeOf(wanted[0].region)) : undefined;
    const top = reference === undefined ? null : highest(reference, from);
    const scale = top !== null && top.value >= CLEAR_OF_NOISE * top.u ? { by: 100 / top.value, u: top.u / top.value } : null;
    const chosen = indices(from, this.times_ms.length, most);
    return {
      times_s: chosen.map((index) => ((this.times_ms[index] ?? NaN) - zero_ms) / 1000),
      series: wanted.map(({ name, region }) => ({ name, ...band(this.rows.get(placeOf(region)), chosen, scale ?? { by: 1, u: 0 }) })),
      inPercent: scale !== null,
    };
  }

  /** To be asked for before a time is added. @param {string} place */
  row(place) {
    let row = this.rows.get(place);
    if (row === undefined) {
      row = { signal: [], u: [], baseline: 0, baseline_u: 0 };
      this.rows.set(place, row);
      this.even();
    }
    return row;
  }

  /** Every row as long as there are times: nothing is known where nothing was measured. */
  even() {
    for (const row of this.rows.values()) {
      while (row.signal.length < this.times_ms.length) append(row, [null], [null]);
    }
  }

  thin() {
    const every = (/** @type {any[]} */ list) => list.filter((_, index) => index % 2 === 0);
    this.times_ms = every(this.times_ms);
    for (const row of this.rows.values()) [row.signal, row.u] = [every(row.signal), every(row.u)];
  }
}

/** @param {PictureHeader} header */
export function sensorMs(header) {
  return Math.floor(header.sensor_time_ns / 1e6);
}

/** @param {PictureHeader} header @returns {RegionValue[]} */
export function seenIn({ reference, values }) {
  return [...(reference ? [reference] : []), ...values];
}

/** @param {string} region */
function placeOf(region) {
  return placeText(parsedRegion(region));
}

/**
 * @param {Row} row
 * @param {(number | null)[]} signal
 * @param {(number | null)[]} u
 */
function append(row, signal, u) {
  row.signal.push(...signal);
  row.u.push(...u);
}

/**
 * @param {Row} row
 * @param {number} from
 * @returns {{value: number, u: number} | null} above its baseline
 */
function highest(row, from) {
  let best = null;
  for (let index = from; index < row.signal.length; index += 1) {
    const signal = row.signal[index] ?? null;
    if (signal === null) continue;
    const value = signal - row.baseline;
    if (best === null || value > best.value) best = { value, u: Math.hypot(row.u[index] ?? 0, row.baseline_u) };
  }
  return best;
}

/**
 * Every one, or every second, third ...: the same ones again when more come, so that a curve does not flicker; and always the newest.
 *
 * @param {number} from
 * @param {number} to
 * @param {number} most
 */
function indices(from, to, most) {
  const step = Math.max(1, Math.ceil((to - from) / most));
  const chosen = [];
  for (let index = from; index < to; index += 1) if (index % step === 0 || index === to - 1) chosen.push(index);
  return chosen;
}

/**
 * @param {Row | undefined} row
 * @param {number[]} chosen
 * @param {{by: number, u: number}} scale and its own relative uncertainty
 */
function band(row, chosen, scale) {
  /** @type {{values: (number | null)[], low: (number | null)[], high: (number | null)[]}} */
  const made = { values: [], low: [], high: [] };
  for (const index of chosen) {
    const signal = row?.signal[index] ?? null;
    if (row === undefined || signal === null) {
      for (const list of Object.values(made)) list.push(null);
      continue;
    }
    const value = scale.by * (signal - row.baseline);
    const u = Math.hypot(scale.by * Math.hypot(row.u[index] ?? 0, row.baseline_u), value * scale.u);
    made.values.push(value);
    made.low.push(value - u);
    made.high.push(value + u);
  }
  return made;
}
