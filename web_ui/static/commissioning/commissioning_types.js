/**
 * What the device tells of commissioning, as in `shared/protocol/commissioning.py`. Types only.
 *
 * @typedef {"dark" | "defects" | "flat" | "gain" | "light" | "scale" | "sharpness" | "leakage" | "sensitivity"} StepName
 * @typedef {StepName | "check"} Walk
 *
 * @typedef {{name: string, passed: boolean, words: string}} CheckItem
 *
 * @typedef {object} WalkState
 * @property {Walk} walk
 * @property {boolean} running
 * @property {string} started_at
 * @property {string[]} said
 * @property {CheckItem[]} items
 * @property {boolean} passed
 * @property {string} error
 *
 * @typedef {{figure: string, words: string, limit: string, passed: boolean | null}} FigureLine
 *
 * @typedef {object} StepLine
 * @property {StepName} step
 * @property {string} made_at empty: never
 * @property {string} recording
 * @property {StepName[]} needs
 * @property {boolean} lights
 * @property {FigureLine[]} figures
 *
 * @typedef {{name: string, steps: StepName[], missing: StepName[], again_from: string}} CalibrationLine
 * @typedef {{step: StepName, made_at: string, figures: FigureLine[], before: FigureLine[]}} Proposal
 * @typedef {{made_at: string, passed: boolean, items: CheckItem[], calibrated_at: string}} CheckRecord
 * @typedef {{paper: string, running: boolean, file: string, error: string}} PaperState
 *
 * @typedef {object} Commissioning
 * @property {string} now
 * @property {string} sensor empty: nothing can be calibrated
 * @property {StepLine[]} steps
 * @property {string} in_force
 * @property {string} newest
 * @property {string} light_in_force
 * @property {Proposal | null} proposal
 * @property {CalibrationLine[]} calibrations
 * @property {CheckRecord[]} checks
 * @property {PaperState | null} paper
 * @property {number} oldest_days
 * @property {string} trouble
 *
 * @typedef {{name: "measured" | "line" | "proportional" | "places" | "share", values: (number | null)[]}} Series
 * @typedef {{step: StepName, x: number[], series: Series[], columns: number, mark: number | null}} Curve
 */

export {};
