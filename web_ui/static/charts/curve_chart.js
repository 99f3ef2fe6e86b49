/** @import { ChartEvent, Curves } from "./curve_data.js" */
/** @import { Stroke } from "./curve_look.js" */

import uPlot from "../libraries/uplot/uPlot.esm.js";
import { button, write } from "../page/element.js";
import { measuredText } from "../page/measured_text.js";
import { momentText } from "../page/moment_text.js";
import { numberText } from "../page/number_text.js";
import { words } from "../page/words.js";
import { chartPicture, pngOf } from "./chart_picture.js";
import { appended, columns, curvesCsv, eventNear, valueAt } from "./curve_data.js";
import { colourOf, faint, strokeOf } from "./curve_look.js";
import { eventDash } from "./event_look.js";
import { saveFile } from "./saved_file.js";

const FONT = "16px system-ui, sans-serif";
const BAND_OPACITY = 0.28;
const LEAST_HEIGHT_PX = 180;

/** A finger this near, as a share of the time shown, means what happened there. */
const EVENT_REACH = 0.015;

/**
 * @typedef {object} ChartOptions
 * @property {string} name of the files that are saved
 * @property {string} [title] of a saved picture; else the name
 * @property {(time_s: number) => void} [picked] a finger is at that time
 * @property {string[]} [lines] what stands under a saved picture: cautions
 */

/** Curves with their bands of uncertainty, what happened as thin lines, values under the finger, and a way to keep them. */
export class CurveChart {
  /**
   * @param {HTMLElement} place empty; its size is the chart's
   * @param {ChartOptions} options
   */
  constructor(place, options) {
    this.place = place;
    this.options = options;
    /** @type {Curves} */
    this.curves = { times_s: [], series: [], events: [], unit: "", xLabel: "", yLabel: "" };
    /** @type {Set<string>} */
    this.hidden = new Set();
    /** @type {uPlot | null} */
    this.plot = null;
    this.here_s = NaN;
    this.waiting = 0;
    this.drawing = document.createElement("div");
    this.drawing.className = "chart-drawing";
    this.keys = document.createElement("ul");
    this.keys.className = "chart-keys";
    this.acts = document.createElement("div");
    this.acts.className = "chart-acts";
    place.classList.add("chart");
    place.replaceChildren(this.drawing, this.keys, this.acts);
    this.sized = new ResizeObserver(() => this.resize());
    this.sized.observe(this.drawing);
    // another theme has other colours
    this.themed = new MutationObserver(() => this.rebuild());
    this.themed.observe(document.documentElement, { attributes: true, attributeFilter: ["data-theme", "lang"] });
  }

  /** @param {Curves} curves */
  show(curves) {
    this.curves = curves;
    this.rebuild();
  }

  /**
   * Add a moment to the curves shown; drawn with the next picture of the screen.
   *
   * @param {number} time_s
   * @param {{value: number | null, low?: number | null, high?: number | null}[]} points
   */
  append(time_s, points) {
    appended(this.curves, time_s, points);
    if (this.waiting !== 0) return;
    this.waiting = requestAnimationFrame(() => {
      this.waiting = 0;
      this.plot?.setData(/** @type {uPlot.AlignedData} */ (columns(this.curves)));
    });
  }

  /** @param {ChartEvent[]} events */
  setEvents(events) {
    this.curves.events = events;
    this.plot?.redraw(false);
  }

  /** Mark the moment that the picture shows. @param {number} time_s */
  setHere(time_s) {
    if (time_s === this.here_s) return;
    this.here_s = time_s;
    this.plot?.redraw(false);
  }

  close() {
    cancelAnimationFrame(this.waiting);
    this.sized.disconnect();
    this.themed.disconnect();
    this.plot?.destroy();
    this.plot = null;
    this.place.replaceChildren();
  }

  rebuild() {
    this.plot?.destroy();
    this.drawing.replaceChildren();
    const { width, height } = this.size();
    const style = getComputedStyle(this.place);
    this.strokes = this.curves.series.map((_, index) => strokeOf(style, index));
    this.plot = new uPlot(this.plotOptions(style, width, height), /** @type {uPlot.AlignedData} */ (columns(this.curves)), this.drawing);
    this.listenTo(this.plot);
    this.drawKeys();
    this.drawActs();
    this.drawing.setAttribute("role", "img");
    this.drawing.setAttribute("aria-label", this.summary());
    this.drawing.tabIndex = 0;
  }

  summary() {
    const { series, yLabel } = this.curves;
    return words("charts-summary", { what: yLabel, names: series.map((one) => one.name).join(", ") });
  }

  size() {
    const box = this.drawing.getBoundingClientRect();
    return { width: Math.max(Math.floor(box.width), 240), height: Math.max(Math.floor(box.height), LEAST_HEIGHT_PX) };
  }

  resize() {
    const size = this.size();
    if (this.plot !== null && (this.plot.width !== size.width || this.plot.height !== size.height)) this.plot.setSize(size);
  }

  /**
   * @param {CSSStyleDeclaration} style
   * @param {number} width
   * @param {number} height
   * @returns {uPlot.Options}
   */
  plotOptions(style, width, height) {
    const [ink, grid] = [colourOf(style, "--ink"), colourOf(style, "--edge")];
    const { series, unit, xLabel, yLabel } = this.curves;
    /** @type {Partial<uPlot.Axis>} */
    const axis = { stroke: ink, font: FONT, labelFont: FONT, labelSize: 26, grid: { stroke: faint(grid, 0.5), width: 1 }, ticks: { stroke: grid, width: 1 } };
    const edge = (/** @type {string} */ name) => ({ stroke: "transparent", width: 0, points: { show: false }, show: !this.hidden.has(name) });
    return {
      width,
      height,
      legend: { show: false },
      cursor: { drag: { x: false, y: false }, points: { size: 9 }, focus: { prox: -1 } },
      scales: { x: { time: false } },
      axes: [
        { ...axis, label: xLabel, size: 34, values: (_, splits) => splits.map(tickText) },
        { ...axis, label: `${yLabel} (${unit})`, size: 58, values: (_, splits) => splits.map(tickText) },
      ],
      series: [
        {},
        ...series.flatMap(({ name }, index) => {
          const { colour, dash } = this.stroke(index);
          return [{ label: name, stroke: colour, width: 2.5, dash, points: { show: false }, show: !this.hidden.has(name) }, edge(name), edge(name)];
        }),
      ],
      bands: series.map((_, index) => ({ series: [3 * index + 3, 3 * index + 2], fill: faint(this.stroke(index).colour, BAND_OPACITY) })),
      hooks: { draw: [(plot) => this.drawEvents(plot, ink)], setCursor: [(plot) => this.cursorMoved(plot)] },
    };
  }

  /**
   * @param {number} index
   * @returns {Stroke}
   */
  stroke(index) {
    return this.strokes?.[index] ?? { colour: "#888888", dash: [] };
  }

  /** A finger, a pen, a mouse, or the arrow keys. @param {uPlot} plot */
  listenTo(plot) {
    const pick = (/** @type {PointerEvent} */ event) => {
      const box = plot.over.getBoundingClientRect();
      const left = Math.min(Math.max(event.clientX - box.left, 0), box.width);
      plot.setCursor({ left, top: box.height / 2 });
      if (event.buttons > 0) this.options.picked?.(plot.posToVal(left, "x"));
    };
    plot.over.addEventListener("pointerdown", (event) => {
      plot.over.setPointerCapture(event.pointerId);
      pick(event);
    });
    plot.over.addEventListener("pointermove", pick);
    this.drawing.onkeydown = (event) => {
      const way = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (way === undefined || this.plot === null) return;
      event.preventDefault();
      const { times_s } = this.curves;
      const step = Math.max(1, Math.round(times_s.length / (event.shiftKey ? 20 : 100)));
      const from = this.plot.cursor.idx ?? (way > 0 ? -step : times_s.length);
      const at = Math.min(Math.max(from + way * step, 0), times_s.length - 1);
      const time_s = times_s[at];
      if (time_s === undefined) return;
      this.plot.setCursor({ left: this.plot.valToPos(time_s, "x"), top: 1 });
      this.options.picked?.(time_s);
    };
  }

  /** @param {uPlot} plot */
  cursorMoved(plot) {
    const index = plot.cursor.idx ?? null;
    const time_s = index === null ? undefined : this.curves.times_s[index];
    this.curves.series.forEach((series, at) => {
      const place = this.keys.children[at]?.querySelector(".chart-key-value");
      if (!place) return;
      const found = index === null ? null : valueAt(series, index);
      write(place, found === null ? "" : measuredText(found.value, found.halfWidth, this.curves.unit));
    });
    const clock = this.keys.querySelector(".chart-key-time");
    if (clock) write(clock, time_s === undefined ? words("charts-touch") : this.momentWords(plot, time_s));
  }

  /** @param {uPlot} plot @param {number} time_s under the finger */
  momentWords(plot, time_s) {
    const time = numberText(time_s, 1);
    const { min, max } = plot.scales["x"] ?? {};
    const near = eventNear(this.curves.events, time_s, EVENT_REACH * ((max ?? 0) - (min ?? 0)));
    return near === null ? words("charts-at", { time }) : words("charts-event-at", { what: near.text, time: numberText(near.at_s, 1) });
  }

  /**
   * @param {uPlot} plot
   * @param {string} ink
   */
  drawEvents(plot, ink) {
    const { left, top, width, height } = plot.bbox;
    const paper = plot.ctx;
    const scale = globalThis.devicePixelRatio || 1;
    /** @type {ChartEvent[]} */
    const here = Number.isFinite(this.here_s) ? [{ at_s: this.here_s, kind: "here", text: "" }] : [];
    paper.save();
    paper.font = `${14 * scale}px system-ui, sans-serif`;
    paper.textBaseline = "top";
    paper.textAlign = "left";
    let free = -Infinity;
    for (const event of [...this.curves.events, ...here]) {
      const x = Math.round(plot.valToPos(event.at_s, "x", true)) + 0.5;
      if (x < left || x > left + width) continue;
      paper.strokeStyle = faint(ink, event.kind === "here" ? 1 : 0.75);
      paper.lineWidth = (event.kind === "here" ? 2 : 1) * scale;
      paper.setLineDash(eventDash(event.kind).map((one) => one * scale));
      paper.beginPath();
      paper.moveTo(x, top);
      paper.lineTo(x, top + height);
      paper.stroke();
      const word = event.mark ?? event.text;
      const size = paper.measureText(word).width;
      // a word only where it lies on no other; the timeline has them all
      if (word === "" || x < free || x + size + 8 * scale > left + width) continue;
      paper.fillStyle = ink;
      paper.fillText(word, x + 4 * scale, top + 2 * scale);
      free = x + size + 12 * scale;
    }
    paper.restore();
  }

  drawKeys() {
    const rows = this.curves.series.map(({ name }, index) => {
      const row = document.createElement("li");
      const key = button("", () => this.toggle(name), "chart-key");
      key.setAttribute("aria-pressed", String(!this.hidden.has(name)));
      const word = document.createElement("span");
      word.className = "chart-key-name";
      word.textContent = name;
      const value = document.createElement("span");
      value.className = "chart-key-value";
      key.append(swatch(this.stroke(index)), word, value);
      row.append(key);
      return row;
    });
    const clock = document.createElement("li");
    clock.className = "chart-key-time";
    clock.textContent = this.curves.series.length === 0 ? "" : words("charts-touch");
    this.keys.replaceChildren(...rows, clock);
  }

  /** @param {string} name */
  toggle(name) {
    if (!this.hidden.delete(name)) this.hidden.add(name);
    const index = this.curves.series.findIndex((one) => one.name === name);
    for (const at of [1, 2, 3]) this.plot?.setSeries(3 * index + at, { show: !this.hidden.has(name) });
    this.keys.children[index]?.querySelector("button")?.setAttribute("aria-pressed", String(!this.hidden.has(name)));
  }

  drawActs() {
    this.acts.replaceChildren(
      button(words("charts-save-picture"), () => void this.savePicture(), "faint"),
      button(words("charts-save-table"), () => this.saveTable(), "faint"),
    );
  }

  async savePicture() {
    if (this.plot === null) return;
    const style = getComputedStyle(this.place);
    const keys = this.curves.series.map(({ name }, index) => ({ name, ...this.stroke(index) })).filter(({ name }) => !this.hidden.has(name));
    const lines = [words("charts-band"), ...(this.options.lines ?? []), words("charts-saved", { when: momentText(new Date().toISOString()) })];
    const about = { title: this.options.title ?? this.options.name, keys, lines, ground: colourOf(style, "--ground"), ink: colourOf(style, "--ink") };
    saveFile(await pngOf(chartPicture(this.plot.ctx.canvas, about)), `${this.options.name}.png`);
  }

  saveTable() {
    saveFile(new Blob([this.csv()], { type: "text/csv" }), `${this.options.name}.csv`);
  }

  csv() {
    return curvesCsv(this.curves, (id, args) => {
      if (id === "time") return words("charts-csv-time", args);
      if (id === "value") return words("charts-csv-value", args);
      return id === "low" ? words("charts-csv-low", args) : words("charts-csv-high", args);
    });
  }
}

/** @param {number} value */
function tickText(value) {
  const decimals = Number.isInteger(value) ? 0 : Math.min((String(value).split(".")[1] ?? "").length, 3);
  return numberText(value, decimals);
}

/**
 * @param {Stroke} stroke
 * @returns {SVGElement}
 */
function swatch({ colour, dash }) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 44 12");
  svg.setAttribute("class", "chart-swatch");
  svg.setAttribute("aria-hidden", "true");
  const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
  for (const [name, value] of Object.entries({ x1: 2, y1: 6, x2: 42, y2: 6, stroke: colour, "stroke-dasharray": dash.join(" ") })) {
    line.setAttribute(name, String(value));
  }
  svg.append(line);
  return svg;
}
