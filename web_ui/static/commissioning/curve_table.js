/** @import { Curve } from "./commissioning_types.js" */

/** @param {Curve} curve */
export function isMap(curve) {
  return curve.columns > 0;
}

/**
 * Columns for the chart, x rising, as it asks for them.
 *
 * @param {Curve} curve
 * @returns {(number | null)[][]}
 */
export function inOrder(curve) {
  const order = curve.x.map((_, index) => index).sort((a, b) => (curve.x[a] ?? 0) - (curve.x[b] ?? 0));
  return [order.map((index) => curve.x[index] ?? 0), ...curve.series.map(({ values }) => order.map((index) => values[index] ?? null))];
}

/** The numbers as a table for other programs. @param {Curve} curve */
export function curveCsv(curve) {
  if (isMap(curve)) {
    const rows = [];
    for (let from = 0; from < curve.x.length; from += curve.columns) rows.push(curve.x.slice(from, from + curve.columns).join(","));
    return `${rows.join("\n")}\n`;
  }
  const head = ["x", ...curve.series.map(({ name }) => name)].join(",");
  const rows = curve.x.map((x, index) => [x, ...curve.series.map(({ values }) => values[index] ?? "")].join(","));
  return `${[head, ...rows].join("\n")}\n`;
}
