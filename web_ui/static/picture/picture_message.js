/** @import { PictureHeader } from "../page/device_state.js" */

const MAGIC = "tpm1";
const PREFIX_BYTES = 12;

/**
 * One picture as the device sends it: 4 bytes "tpm1", age in ms and length of the header as little-endian 32-bit numbers, the
 * header as JSON, the JPEG.
 *
 * @param {ArrayBuffer} message
 * @returns {{ageMs: number, header: PictureHeader, jpeg: Uint8Array<ArrayBuffer>}}
 * @throws {Error} naming what does not fit
 */
export function parsedPicture(message) {
  if (message.byteLength < PREFIX_BYTES) throw new Error(`picture message of ${message.byteLength} bytes is too short`);
  const prefix = new DataView(message, 0, PREFIX_BYTES);
  const magic = String.fromCharCode(...new Uint8Array(message, 0, 4));
  if (magic !== MAGIC) throw new Error("picture message of another version: load the page again");
  const ageMs = prefix.getUint32(4, true);
  const headerBytes = prefix.getUint32(8, true);
  if (PREFIX_BYTES + headerBytes >= message.byteLength) throw new Error(`picture header of ${headerBytes} bytes does not fit`);
  const text = new TextDecoder("utf-8", { fatal: true }).decode(new Uint8Array(message, PREFIX_BYTES, headerBytes));
  return { ageMs, header: JSON.parse(text), jpeg: new Uint8Array(message, PREFIX_BYTES + headerBytes) };
}
