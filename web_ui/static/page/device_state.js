/**
 * What the device tells the page, as in `shared/protocol/control.py`. Types only.
 *
 * @typedef {"grey" | "relative" | "side by side"} View
 *
 * @typedef {object} CameraState
 * @property {string} model
 * @property {number} width
 * @property {number} height
 * @property {"picamera" | "simulated" | "replay"} kind
 * @property {number} exposure_us
 * @property {number} gain
 * @property {number} rate_hz
 * @property {number} sequence
 * @property {number} frame_age_ms
 * @property {number} lost_frames
 *
 * @typedef {object} LampState
 * @property {boolean} reachable
 * @property {"off" | "ready" | "lit" | "tripped"} state
 * @property {number} level
 * @property {boolean} wanted_on
 * @property {number} wanted_level
 * @property {number} lease_left_ms
 * @property {string} reason
 * @property {"hardware" | "software"} [pwm]
 * @property {number} [pulse_hz]
 * @property {number} [ripple]
 * @property {ConditionState[]} [conditions]
 *
 * @typedef {object} ConditionState
 * @property {string} name
 * @property {"holds" | "missing" | "absent"} state
 * @property {string} sentence
 * @property {number | null} value
 * @property {number | null} limit
 * @property {string} unit
 *
 * @typedef {object} RegionState
 * @property {string} region
 * @property {string} name
 * @property {number | null} percent
 * @property {number | null} percent_u
 * @property {string} flag
 *
 * @typedef {object} RecordingState
 * @property {string | null} name
 * @property {number} seconds
 * @property {number} frames
 * @property {number} gaps
 * @property {number} queue_fill
 * @property {number} free_mb
 * @property {string} ended_because
 * @property {number} least_free_mb
 *
 * @typedef {object} ExportJob
 * @property {number} number
 * @property {string} recording
 * @property {string} target
 * @property {number} done
 * @property {boolean} finished
 * @property {string} error
 * @property {string[]} files
 * @property {string[]} [recordings]
 * @property {string[]} [formats]
 * @property {string[]} [folders]
 * @property {string[]} [failed]
 * @property {string[]} [notes]
 * @property {number} [file_count]
 * @property {number} [size_mb]
 * @property {boolean} [stopped]
 * @property {boolean} [settled] the drive holds nothing back any more
 *
 * @typedef {object} DeviceState
 * @property {CameraState} camera
 * @property {LampState} light
 * @property {View} view
 * @property {number[]} contours_percent
 * @property {RegionState | null} reference
 * @property {RegionState[]} regions
 * @property {RecordingState} recording
 * @property {number | null} since_injection_s
 * @property {"commissioned" | "scene truth" | "assumed"} calibration
 * @property {number[]} light_levels
 * @property {ExportJob[]} exports
 * @property {string | null} last_still
 * @property {string[]} warnings
 * @property {string} [light_measured_at] empty: assumed linear
 * @property {boolean} [hold_to_light]
 * @property {string} [case] the one that is open, empty for none
 * @property {number} [happened] changes when something new stands beside the growing curves
 * @property {string} [maps_ready] the newest run whose maps lie with it
 * @property {import("../compare/compare_types.js").ComparisonJob | null} [comparison]
 * @property {string} [calibrated_at] empty: nothing of the camera was measured
 * @property {import("../commissioning/commissioning_types.js").WalkState | null} [walk] the check or step of commissioning that runs, or ran last
 * @property {import("../review/review_types.js").AnalysisJob | null} [analysis] the newest analysis of a recording
 *
 * @typedef {object} RecordingSummary
 * @property {string} name
 * @property {string} started_at
 * @property {string} case
 * @property {number} seconds
 * @property {number} frames
 * @property {number} gaps
 * @property {number} size_mb
 * @property {boolean} complete
 *
 * @typedef {object} RegionValue  A region as measured in one picture.
 * @property {string} region
 * @property {string} name
 * @property {number | null} percent
 * @property {number | null} percent_u
 * @property {string} flag
 * @property {number | null} signal steadied: counts a millisecond at unit gain and full light
 * @property {number | null} signal_u
 * @property {number} baseline what was there before the dye, 0 where it is not known
 * @property {number} baseline_u
 *
 * @typedef {object} PictureHeader
 * @property {number} publication
 * @property {number} sequence
 * @property {number} sensor_time_ns
 * @property {number | null} since_injection_s
 * @property {number | null} mm_per_px as the scale was measured; null where it was not
 * @property {number} width
 * @property {number} height
 * @property {number} picture_width
 * @property {number} picture_height
 * @property {View} view
 * @property {boolean} lit
 * @property {RegionValue | null} reference
 * @property {RegionValue[]} values
 * @property {number} full_scale_percent
 * @property {number[]} contours_percent
 */

/**
 * Who may do what, as in `web_ui/access.py`. Types only.
 *
 * @typedef {{number: string, label: string}} Tablet
 *
 * @typedef {object} AccessState
 * @property {Tablet | null} controller
 * @property {boolean} controller_here
 * @property {Tablet | null} asker
 * @property {string | null} waiting_for_button
 *
 * @typedef {AccessState & {you: Tablet, role: "controls" | "watches"}} Standing
 *
 * @typedef {object} PairedTablet
 * @property {string} number
 * @property {string} label
 * @property {"word" | "button" | "invitation"} way
 * @property {"controls" | "watches"} role
 * @property {boolean} here
 * @property {number} paired_s
 * @property {number} silent_s
 */

export {};
