const PAUSE_MS = 200;
const TRIES = 25;

/**
 * Fetch what a few may look at at once: told that others are before, wait a moment and ask again.
 *
 * @param {string} path below `/api/v1`
 */
export async function fetchPatiently(path) {
  for (let tried = 1; ; tried += 1) {
    const answer = await fetch(`/api/v1${path}`, { cache: "no-store" });
    if (answer.status !== 409 || tried === TRIES) return answer;
    await new Promise((resolve) => setTimeout(resolve, PAUSE_MS));
  }
}
