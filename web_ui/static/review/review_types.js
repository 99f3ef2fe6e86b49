/**
 * What the device says of a recording that is looked at again (`web_ui/review_answers.py`). Types only.
 *
 * @typedef {{region: string, seen_at_s: number}} ReviewRegion
 *
 * @typedef {object} Marks
 * @property {ReviewRegion | null} reference
 * @property {ReviewRegion[]} regions
 *
 * @typedef {{kind: string, at_s: number, text: string}} RunEvent
 * @typedef {{at_s: number, text: string, said_at: string}} LateNote
 *
 * @typedef {object} ReviewedRecording
 * @property {string} name
 * @property {string} case
 * @property {string} started_at
 * @property {number} seconds
 * @property {number} frames
 * @property {number} gaps
 * @property {boolean} complete
 * @property {number} width
 * @property {number} height
 * @property {number} frame_interval_s
 * @property {number | null} mm_per_px
 * @property {number | null} injected_at_s
 * @property {string} calibration
 * @property {string[]} unknown
 * @property {boolean} ambient
 * @property {boolean} has_baseline
 * @property {boolean} rehearsed
 * @property {ReviewRegion | null} reference
 * @property {ReviewRegion[]} regions
 * @property {boolean} marked
 * @property {RunEvent[]} events
 * @property {LateNote[]} late_notes
 * @property {boolean} has_maps
 * @property {boolean} has_analysis
 * @property {number} full_scale_percent
 * @property {number[]} contours_percent
 *
 * @typedef {object} Moment
 * @property {number} number
 * @property {number} time_s
 * @property {boolean} lit
 * @property {"followed" | "lost" | "still"} place
 * @property {RegionState | null} reference
 * @property {RegionState[]} regions
 *
 * @typedef {{region: string, name: string, percent: number | null, percent_u: number | null, flag: string}} RegionState
 *
 * @typedef {{key: string, unit: string, value: number | null, u: number | null}} Figure
 *
 * @typedef {object} KeptAnalysis
 * @property {string} made_at
 * @property {string} reference
 * @property {number | null} injected_at_s
 * @property {string} unit
 * @property {number[]} times_s
 * @property {{name: string, region: string, values: (number | null)[], u: (number | null)[]}[]} curves
 * @property {{name: string, figures: Figure[], flags: string[]}[]} regions
 * @property {number | null} locked_share
 * @property {number | null} largest_shift_mm
 * @property {string[]} warnings
 *
 * @typedef {object} AnalysisJob
 * @property {number} number
 * @property {string} recording
 * @property {boolean} maps
 * @property {number} done
 * @property {boolean} finished
 * @property {boolean} stopped
 * @property {string} error
 *
 * @typedef {{name: string, unit: string, low: number, high: number, step: number, measured_share: number, notes: string[]}} KeptMap
 * @typedef {{maps: KeptMap[], reference: string, injected: boolean, motion_followed: boolean}} KeptMaps
 * @typedef {{value: number | null, u: number | null, unit: string, standing: string}} MapValue
 */

export {};
