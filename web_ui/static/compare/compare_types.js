/**
 * What is kept of a comparison: the object of `tapetum compare --json` with its pictures. Types only.
 *
 * @typedef {{value: number | null, u: number | null}} Estimate
 *
 * @typedef {object} Remainder
 * @property {string} method
 * @property {Estimate | null} half_life_s
 * @property {Estimate | null} left_percent
 * @property {Estimate | null} predicted_percent
 * @property {[number, number] | null} predicted_95_percent
 * @property {Estimate | null} observed_percent
 *
 * @typedef {Record<string, Estimate>} Figures  also flags and others, which are no estimates
 *
 * @typedef {object} RegionChange
 * @property {Figures & {flags?: string[]}} first
 * @property {Figures & {flags?: string[]}} second
 * @property {Record<string, Estimate>} difference
 * @property {Record<string, Estimate>} ratio
 * @property {Remainder} remainder
 *
 * @typedef {object} ComparedPictures
 * @property {number} width
 * @property {number} height
 * @property {number} full_scale_percent
 * @property {number} difference_full_scale_percent
 * @property {number} widest_u_percent
 * @property {number} certain_share
 * @property {number | null} median_u_percent
 * @property {{reference: string, regions: string[]}} [outlines] in pixels of the sensor, which has two to one of the pictures
 *
 * @typedef {object} Comparison
 * @property {string} first
 * @property {string} second
 * @property {{shift_px: number, shift_mm: number | null, rotation_deg: number, confidence: number} | null} aligned
 * @property {number | null} between_s
 * @property {string | null} between_known_from
 * @property {string} reference
 * @property {Record<string, RegionChange>} regions
 * @property {string[]} warnings
 * @property {string[]} cautions
 * @property {string} made_at
 * @property {ComparedPictures | null} pictures
 * @property {boolean} recordings_are_there
 *
 * @typedef {{percent: number | null, u: number | null, standing: string}} PointValue
 * @typedef {{first: PointValue, second: PointValue, difference: PointValue}} ComparedPoint
 *
 * @typedef {{number: number, first: string, second: string, done: number, finished: boolean, error: string, stopped: boolean}} ComparisonJob
 */

export {};
