/** @import { Acts } from "../page/acts.js" */

import { refusal, sent } from "../page/device_api.js";

const PAUSE_MS = 200;
const TRIES = 25;

/**
 * Fetch what a few may look at at once: told that others are before, wait a moment and ask again.
 *
 * @param {string} path below `/api/v1`
 * @param {(tried: number) => boolean} mayWait after so many tries
 * @returns {Promise<Response>} the answer, a good one
 * @throws {Refusal | Unpaired}
 */
export async function fetchPatiently(path, mayWait = (tried) => tried < TRIES) {
  for (let tried = 1; ; tried += 1) {
    const answer = await sent("GET", path);
    if (answer.ok) return answer;
    if (answer.status !== 409 || !mayWait(tried)) throw await refusal(answer);
    await new Promise((resolve) => setTimeout(resolve, PAUSE_MS));
  }
}

/**
 * The same for what is answered in JSON; says on the calm line what the device refuses.
 *
 * @param {Acts} acts
 * @param {string} path
 * @returns {Promise<any>} null where it was refused
 */
export async function learnPatiently(acts, path) {
  try {
    return await (await fetchPatiently(path)).json();
  } catch (error) {
    acts.failed(error);
    return null;
  }
}
