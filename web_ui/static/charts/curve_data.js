/**
 * Curves as a chart shows them. Knows nothing of the page.
 *
 * @typedef {(number | null)[]} Values null where nothing is known
 *
 * @typedef {object} CurveSeries
 * @property {string} name
 * @property {Values} values
 * @property {Values} [low] lower edge of the band of uncertainty
 * @property {Values} [high] its upper edge
 *
 * @typedef {object} ChartEvent
 * @property {number} at_s
 * @property {string} kind what its line looks like
 * @property {string} text
 * @property {string} [mark] stands on the chart in place of the text, where there is little room
 *
 * @typedef {object} Curves
 * @property {number[]} times_s rising, shared by all series
 * @property {CurveSeries[]} series
 * @property {ChartEvent[]} events
 * @property {string} unit
 * @property {string} xLabel
 * @property {string} yLabel
 */

/**
 * Rows as the chart library wants them: times, then value, lower and upper edge of each series.
 *
 * @param {Curves} curves
 * @returns {[number[], ...Values[]]}
 */
export function columns({ times_s, series }) {
  return [times_s, ...series.flatMap(({ values, low, high }) => [values, low ?? values, high ?? values])];
}

/**
 * Add one moment to growing curves.
 *
 * @param {Curves} curves
 * @param {number} time_s later than every one before
 * @param {{value: number | null, low?: number | null, high?: number | null}[]} points one a series, in their order
 */
export function appended(curves, time_s, points) {
  const last = curves.times_s.at(-1);
  if (last !== undefined && !(time_s > last)) throw new RangeError(`time does not rise: ${time_s} after ${last}`);
  if (points.length !== curves.series.length) throw new RangeError(`${points.length} values for ${curves.series.length} curves`);
  curves.times_s.push(time_s);
  curves.series.forEach((one, index) => {
    const { value, low, high } = points[index] ?? { value: null };
    one.values.push(value);
    one.low?.push(low ?? value);
    one.high?.push(high ?? value);
  });
}

/**
 * What a series says at a moment: the known value nearest to the index, no further than that many samples.
 *
 * @param {CurveSeries} series
 * @param {number} index
 * @param {number} [reach]
 * @returns {{value: number, halfWidth: number | null} | null}
 */
export function valueAt({ values, low, high }, index, reach = 3) {
  for (let step = 0; step <= reach; step += 1) {
    for (const at of step === 0 ? [index] : [index - step, index + step]) {
      const value = values[at];
      if (value === null || value === undefined) continue;
      const [below, above] = [low?.[at], high?.[at]];
      return { value, halfWidth: typeof below === "number" && typeof above === "number" ? (above - below) / 2 : null };
    }
  }
  return null;
}

/**
 * What happened within reach of a moment, the nearest of it.
 *
 * @param {ChartEvent[]} events
 * @param {number} time_s
 * @param {number} reach_s
 * @returns {ChartEvent | null}
 */
export function eventNear(events, time_s, reach_s) {
  const off = (/** @type {ChartEvent} */ event) => Math.abs(event.at_s - time_s);
  return events.filter((event) => off(event) <= reach_s).toSorted((a, b) => off(a) - off(b))[0] ?? null;
}

/**
 * The curves as CSV (RFC 4180): a dot, a comma, units in the headers, empty where nothing is known.
 *
 * @param {Curves} curves
 * @param {(id: "time" | "value" | "low" | "high", args: {name: string, unit: string}) => string} header
 */
export function curvesCsv(curves, header) {
  const { unit, series, times_s } = curves;
  const headers = [
    header("time", { name: curves.xLabel, unit: "s" }),
    ...series.flatMap(({ name }) => [header("value", { name, unit }), header("low", { name, unit }), header("high", { name, unit })]),
  ];
  const rows = times_s.map((time_s, index) => [
    String(time_s),
    ...series.flatMap(({ values, low, high }) => [values[index], low?.[index], high?.[index]].map((one) => (one === null || one === undefined ? "" : String(one)))),
  ]);
  return [headers.map(quoted), ...rows].map((row) => row.join(",")).join("\r\n") + "\r\n";
}

/**
 * Text that a spreadsheet would take for a formula is marked as text.
 *
 * @param {string} text
 */
export function quoted(text) {
  const safe = /^[=+\-@\t\r]/.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}
