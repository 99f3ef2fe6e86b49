/** @import { ChartEvent } from "../charts/curve_data.js" */
/** @import { KeptAnalysis, ReviewedRecording } from "./review_types.js" */

import { CurveChart } from "../charts/curve_chart.js";
import { element } from "../page/element.js";
import { words } from "../page/words.js";
import { recordedAt } from "./map_sheet.js";

/** The curves of the newest analysis, with what happened, and the moment that the picture shows. */
export class CurvesPanel {
  /** @param {(at_s: number) => void} picked */
  constructor(picked) {
    this.place = element("review-chart");
    this.picked = picked;
    /** @type {CurveChart | null} */
    this.chart = null;
  }

  /**
   * @param {ReviewedRecording} review
   * @param {KeptAnalysis | null} analysis
   * @param {ChartEvent[]} events
   */
  show(review, analysis, events) {
    this.close();
    this.place.hidden = analysis === null;
    if (analysis === null) return;
    this.chart = new CurveChart(this.place, {
      name: `${review.name}-curves`,
      title: words("review-curves-of", { name: review.name }),
      picked: this.picked,
      lines: [words("review-recorded", { name: review.name, when: recordedAt(review) }), words("review-caution")],
    });
    this.chart.show({
      times_s: analysis.times_s,
      series: analysis.curves.map(({ name: region, values, u }) => ({
        name: region,
        values,
        low: values.map((value, index) => edge(value, u[index], -1)),
        high: values.map((value, index) => edge(value, u[index], 1)),
      })),
      events,
      unit: analysis.unit,
      xLabel: words("review-time-axis"),
      yLabel: analysis.unit === "%" ? words("review-percent-axis", { reference: analysis.reference }) : words("review-signal-axis"),
    });
  }

  /** @param {number} time_s */
  setHere(time_s) {
    this.chart?.setHere(time_s);
  }

  close() {
    this.chart?.close();
    this.chart = null;
  }
}

/**
 * @param {number | null} value
 * @param {number | null | undefined} u
 * @param {number} side
 */
function edge(value, u, side) {
  return value === null || u === null || u === undefined ? null : value + side * u;
}
