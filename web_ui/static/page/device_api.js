import { isKnown, said } from "./said.js";
import { words } from "./words.js";

/** The device said no, or could not be asked; the message is one line for people. */
export class Refusal extends Error {
  /**
   * @param {string} line
   * @param {string | null} ofDevice what the device itself said
   */
  constructor(line, ofDevice = null) {
    super(line);
    this.ofDevice = ofDevice;
    this.lang = ofDevice === null || isKnown(ofDevice) ? "" : "en";
  }
}

/** The device itself gives up its own parts after 10 s (`web_ui/device_link.py`) and says so; one that says nothing for longer never will. */
export const PATIENCE_MS = 20_000;

/** The device did not answer at all. */
export class Unreachable extends Refusal {}

/** This tablet is not paired, or no longer. */
export class Unpaired extends Error {}

/** This tablet watches, and what it asked for needs control. */
export class Watching extends Refusal {}

/**
 * Ask the device over `/api/v1`.
 *
 * @param {"GET" | "POST" | "PUT" | "DELETE"} method
 * @param {string} path
 * @param {object} [body]
 * @param {{signal?: AbortSignal | null, keepalive?: boolean}} [how]
 * @returns {Promise<any>} the answer's JSON, or null
 * @throws {Refusal | Watching | Unpaired}
 */
export async function ask(method, path, body, how = {}) {
  const answer = await sent(method, path, body, how);
  if (!answer.ok) throw await refusal(answer);
  return jsonOf(answer);
}

/**
 * What an answer that is none means.
 *
 * @param {Response} answer
 * @returns {Promise<Refusal | Unpaired>}
 */
export async function refusal(answer) {
  if (answer.status === 401) return new Unpaired(words("page-unpaired"));
  const json = await jsonOf(answer);
  const [line, ofDevice] = [refusalLine(answer.status, json), deviceLine(json)];
  return answer.status === 403 ? new Watching(line, ofDevice) : new Refusal(line, ofDevice);
}

/** @param {Response} answer @returns {Promise<any>} null where it is no JSON */
async function jsonOf(answer) {
  return answer.headers.get("content-type")?.includes("json") ? answer.json().catch(() => null) : null;
}

/**
 * The device's answer, whatever it is.
 *
 * @param {"GET" | "POST" | "PUT" | "DELETE"} method
 * @param {string} path below `/api/v1`
 * @param {object} [body]
 * @param {{signal?: AbortSignal | null, keepalive?: boolean}} [how]
 * @throws {Unreachable}
 */
export async function sent(method, path, body, { signal = null, keepalive = false } = {}) {
  const patience = AbortSignal.timeout(PATIENCE_MS);
  try {
    return await fetch(`/api/v1${path}`, {
      method,
      ...(body === undefined ? {} : { headers: { "content-type": "application/json" }, body: JSON.stringify(body) }),
      signal: signal === null ? patience : AbortSignal.any([signal, patience]),
      keepalive,
      cache: "no-store",
    });
  } catch {
    throw new Unreachable(words(patience.aborted ? "page-no-answer" : "page-unreachable"));
  }
}

/**
 * One line saying what went wrong and what to do.
 *
 * @param {number} status
 * @param {any} json
 */
export function refusalLine(status, json) {
  // its line names a socket and a command: nothing for whoever stands at a wound. The device's own place shows it
  if (status === 503) return words("page-camera-silent");
  const line = deviceLine(json);
  if (line !== null) return said(line);
  if (status === 429) return words("page-too-many-tries");
  return words("page-could-not", { status: String(status) });
}

/** @param {any} json */
function deviceLine(json) {
  const line = json?.line ?? json?.message;
  return typeof line === "string" && line !== "" ? line : null;
}
