/** @import { Curves } from "../charts/curve_data.js" */
/** @import uPlot from "../libraries/uplot/uPlot.esm.js" */

import { CurveChart } from "../charts/curve_chart.js";
import { columns } from "../charts/curve_data.js";

/** A chart whose curves grow: drawn again without being built anew, and on a scale that does not jump with the noise. */
export class GrowingChart extends CurveChart {
  /** What was built last. @type {string | undefined} */
  shown;

  /** @param {Curves} curves */
  grow(curves) {
    const shown = look(curves);
    if (this.plot === null || shown !== this.shown) {
      this.shown = shown;
      this.show(curves);
      return;
    }
    this.curves = curves;
    this.plot.setData(/** @type {uPlot.AlignedData} */ (columns(curves)));
  }

  /**
   * @override
   * @param {CSSStyleDeclaration} style
   * @param {number} width
   * @param {number} height
   */
  plotOptions(style, width, height) {
    const options = super.plotOptions(style, width, height);
    return { ...options, scales: { ...options.scales, y: { range: (/** @type {uPlot} */ _, /** @type {number} */ low, /** @type {number} */ high) => this.range(low, high) } } };
  }

  /**
   * @param {number | null} low null where there is no point yet
   * @param {number | null} high
   * @returns {[number, number]}
   */
  range(low, high) {
    if (this.curves.unit !== "%") return [Math.min(low ?? 0, 0), Math.max((high ?? 1) * 1.1, 1e-6)];
    return [Math.min(-5, Math.floor((low ?? 0) / 10) * 10), Math.max(110, Math.ceil((high ?? 0) / 20) * 20)];
  }

  /** Kept by a button of the panel: here there is no room. @override */
  drawActs() {}
}

/** @param {Curves} curves */
function look({ series, unit, xLabel, yLabel }) {
  return JSON.stringify([series.map(({ name }) => name), unit, xLabel, yLabel]);
}
