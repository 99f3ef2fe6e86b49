/** @import { Page, Place } from "./place.js" */

/**
 * Every place there is, in the order of the Places sheet. The first opens when the address names none.
 *
 * @type {Record<string, () => Promise<new (page: Page) => Place>>}
 */
export const PLACES = {
  live: async () => (await import("../live/live_place.js")).LivePlace,
  review: async () => (await import("../review/review_place.js")).ReviewPlace,
  recordings: async () => (await import("../recordings/recordings_place.js")).RecordingsPlace,
  compare: async () => (await import("../compare/compare_place.js")).ComparePlace,
  export: async () => (await import("../export/export_place.js")).ExportPlace,
  commissioning: async () => (await import("../commissioning/commissioning_place.js")).CommissioningPlace,
  device: async () => (await import("../device/device_place.js")).DevicePlace,
};
