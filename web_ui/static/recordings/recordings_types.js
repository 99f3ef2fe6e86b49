/**
 * What the device tells of cases, recordings and dye, as in `shared/protocol/records.py` and `control.py`. Types only.
 *
 * @typedef {import("../page/device_state.js").RecordingSummary} RecordingSummary
 * @typedef {{recordings: RecordingSummary[], total: number, next: string, unread: number}} Recordings
 *
 * @typedef {{case: string, recordings: number, first_at: string, last_at: string, size_mb: number}} CaseSummary
 * @typedef {{cases: CaseSummary[], total: number, next: string, unread: number}} Cases
 *
 * @typedef {{removed: string, recording: string, removed_at: string, size_mb: number}} RemovedRecording
 * @typedef {{removed: RemovedRecording[], until_free_mb: number, free_mb: number}} RemovedRecordings
 *
 * @typedef {object} DyeGiven
 * @property {string} at
 * @property {number} since_min
 * @property {number | null} dose_mg
 * @property {number | null} volume_ml
 * @property {number} left_least_percent
 * @property {number} left_most_percent
 * @property {string} source
 * @property {number | null} line
 *
 * @typedef {object} DyeOfCase
 * @property {string} case
 * @property {number} given_mg
 * @property {number} volume_ml
 * @property {number} concentration_mg_per_ml
 * @property {number | null} body_mass_kg
 * @property {number | null} body_mass_line
 * @property {number} limit_mg_per_kg
 * @property {number | null} limit_mg
 * @property {number} left_least_mg
 * @property {number} left_most_mg
 * @property {number} half_life_least_min
 * @property {number} half_life_most_min
 * @property {number} without_dose
 * @property {DyeGiven[]} injections
 * @property {string[]} warnings
 * @property {string[]} cautions
 */

export {};
