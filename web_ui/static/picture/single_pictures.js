/** @import { Listener } from "./picture_stream.js" */

/** State is asked for so often, and who may do what less often. */
const STATE_EVERY_MS = 500;
const ACCESS_EVERY_MS = 2000;

/** The same picture came again: the next request waits so long. */
const SAME_MS = 40;

/** A request that takes longer is given up; what the device says of itself must not be old when it is heard. */
const PATIENCE_MS = 5000;
const STATE_PATIENCE_MS = 1500;

/** Age stands here in the message, see `picture_message.js`. */
const AGE_AT = 4;

/**
 * Pictures and state by single requests, where no stream can be had. Each is asked for when the one before is on the screen, so none
 * ever waits in the network; the whole time of a request counts as age, so that no picture looks younger than it is.
 */
export class SinglePictures {
  /**
   * @param {Listener} listener
   * @param {(path: string, signal: AbortSignal) => Promise<Response>} [get]
   * @param {() => number} [nowMs]
   */
  constructor(listener, get = fetched, nowMs = () => performance.now()) {
    this.listener = listener;
    this.get = get;
    this.nowMs = nowMs;
    /** @type {AbortController | null} */
    this.running = null;
    this.connected = false;
    this.shown = -1;
    this.onDrawn = () => {};
  }

  start() {
    if (this.running !== null) return;
    const running = new AbortController();
    this.running = running;
    this.shown = -1;
    void this.run(running);
  }

  stop() {
    this.running?.abort();
    this.running = null;
    this.connected = false;
    this.onDrawn();
  }

  /** @param {number} publication */
  drawn(publication) {
    this.shown = Math.max(this.shown, publication);
    this.onDrawn();
  }

  /** Until it is stopped, or a request fails: then whoever started it may start it again. @param {AbortController} running */
  async run(running) {
    try {
      await Promise.all([this.pictures(running.signal), this.again("/state", STATE_EVERY_MS, running.signal), this.again("/access", ACCESS_EVERY_MS, running.signal)]);
    } catch {
      if (this.running === running) {
        this.stop();
        this.listener.connection(false);
      }
    }
  }

  /** @param {AbortSignal} stopped */
  async pictures(stopped) {
    let newest = -1;
    while (!stopped.aborted) {
      const message = await this.picture(stopped);
      const publication = message && publicationOf(message);
      if (stopped.aborted) return;
      if (message === null || publication === null || publication === newest) {
        await pause(SAME_MS, stopped);
        continue;
      }
      newest = publication;
      this.listener.picture(message);
      // a page that is hidden draws nothing: look again after a while
      if (this.shown < publication) await Promise.race([new Promise((resolve) => (this.onDrawn = () => resolve(null))), pause(STATE_EVERY_MS, stopped)]);
    }
  }

  /** @param {AbortSignal} stopped @returns {Promise<ArrayBuffer | null>} null while there is none */
  async picture(stopped) {
    const asked = this.nowMs();
    const answer = await this.get("/picture", limited(stopped, PATIENCE_MS));
    if (answer.status === 503) return null;
    if (!answer.ok) throw new Error(String(answer.status));
    const message = await answer.arrayBuffer();
    const view = new DataView(message);
    view.setUint32(AGE_AT, Math.min(view.getUint32(AGE_AT, true) + Math.ceil(this.nowMs() - asked), 0xffff_ffff), true);
    return message;
  }

  /**
   * @param {"/state" | "/access"} path
   * @param {number} everyMs
   * @param {AbortSignal} stopped
   */
  async again(path, everyMs, stopped) {
    while (!stopped.aborted) {
      const answer = await this.get(path, limited(stopped, STATE_PATIENCE_MS));
      if (!answer.ok && answer.status !== 503) throw new Error(String(answer.status));
      const said = answer.ok ? await answer.json() : null;
      if (stopped.aborted) return;
      this.hear(path, said);
      await pause(everyMs, stopped);
    }
  }

  /**
   * @param {"/state" | "/access"} path
   * @param {any} said
   */
  hear(path, said) {
    if (!this.connected) {
      this.connected = true;
      this.listener.connection(true);
    }
    if (path === "/state") this.listener.state(said, said !== null);
    else if (said !== null) this.listener.access(said);
  }
}

/** @param {ArrayBuffer} message */
function publicationOf(message) {
  const headerBytes = new DataView(message).getUint32(8, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(message, 12, headerBytes)));
  return Number(header.publication);
}

/**
 * @param {AbortSignal} stopped
 * @param {number} patienceMs
 */
function limited(stopped, patienceMs) {
  return AbortSignal.any([stopped, AbortSignal.timeout(patienceMs)]);
}

/**
 * @param {number} ms
 * @param {AbortSignal} stopped
 * @returns {Promise<null>}
 */
function pause(ms, stopped) {
  return new Promise((resolve) => {
    const timer = setTimeout(() => resolve(null), ms);
    stopped.addEventListener("abort", () => {
      clearTimeout(timer);
      resolve(null);
    }, { once: true });
  });
}

/**
 * @param {string} path
 * @param {AbortSignal} signal
 */
function fetched(path, signal) {
  return fetch(`/api/v1${path}`, { signal, cache: "no-store" });
}
