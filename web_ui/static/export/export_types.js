/**
 * What the device tells of exports, as in `shared/protocol/exporting.py`. Types only.
 *
 * @typedef {"csv" | "tiff" | "mp4" | "png" | "maps"} ExportFormat
 * @typedef {{path: string, filesystem: string, read_only: boolean, free_mb: number | null}} ExportDrive
 * @typedef {{sizes: {format: ExportFormat, size_mb: number}[], drives: ExportDrive[], missing: string[]}} ExportEstimate
 * @typedef {import("../page/device_state.js").ExportJob} ExportJob
 */

export {};
