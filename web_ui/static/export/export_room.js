/** @import { ExportDrive, ExportEstimate } from "./export_types.js" */

/** What a drive keeps free for itself, in MB, as the device does. */
const RESERVE_MB = 8;

/**
 * About how much what is chosen takes.
 *
 * @param {ExportEstimate | null} estimate
 * @param {string[]} formats
 */
export function neededMb(estimate, formats) {
  return (estimate?.sizes ?? []).filter((one) => formats.includes(one.format)).reduce((sum, one) => sum + one.size_mb, 0);
}

/**
 * Whether that fits on a drive, as far as anybody knows.
 *
 * @param {ExportDrive | undefined} drive undefined: a folder whose room is not known
 * @param {number} needed MB
 */
export function fits(drive, needed) {
  if (drive === undefined) return true;
  return !drive.read_only && drive.free_mb !== null && drive.free_mb >= needed + RESERVE_MB;
}

/** What people call a drive: the last part of where it is mounted. @param {string} path */
export function driveName(path) {
  return path.split("/").filter((part) => part !== "").at(-1) ?? path;
}
