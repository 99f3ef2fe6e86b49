/** @import { KeptMap, KeptMaps } from "./review_types.js" */

/** What was there before the dye says nothing of the dye. */
const BEFORE_THE_DYE = "baseline_counts_per_ms";

/**
 * Maps in which anything was measured.
 *
 * @param {KeptMaps} maps
 * @returns {KeptMap[]}
 */
export function measuredMaps({ maps }) {
  return maps.filter(({ measured_share }) => measured_share > 0);
}

/**
 * Whether they tell anything of the dye: they do not where it rose before enough was seen without it.
 *
 * @param {KeptMaps} maps
 */
export function tellOfDye(maps) {
  return measuredMaps(maps).some(({ name }) => name !== BEFORE_THE_DYE);
}
