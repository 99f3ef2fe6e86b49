/** @import { AccessState, DeviceState } from "../page/device_state.js" */

import { SinglePictures } from "./single_pictures.js";

const SHORTEST_WAIT_MS = 250;
const LONGEST_WAIT_MS = 4000;

/** A socket that says nothing for this long is given up: Wi-Fi may have lost it without a word. */
const SILENCE_MS = 5000;

/** The same while the imager is gone, when there is little to say. */
const SILENCE_WITHOUT_DEVICE_MS = 20_000;

/** After so many tries in a row that brought no stream, pictures come by single requests, until one does. */
const TRIES = 3;

/**
 * @typedef {object} Listener
 * @property {(message: ArrayBuffer) => void} picture
 * @property {(state: DeviceState | null, deviceUp: boolean) => void} state
 * @property {(access: AccessState) => void} access
 * @property {(open: boolean) => void} connection
 */

/**
 * Pictures and state as they come; connects again by itself after any loss, sleep or background. Where a stream cannot be had, though
 * the device answers, they come by single requests.
 */
export class PictureStream {
  /**
   * @param {string} url
   * @param {Listener} listener
   */
  constructor(url, listener) {
    this.url = url;
    this.listener = listener;
    /** @type {WebSocket | null} */
    this.socket = null;
    this.waitMs = SHORTEST_WAIT_MS;
    this.timer = 0;
    this.heardAt = 0;
    this.deviceUp = true;
    this.failed = 0;
    this.singles = new SinglePictures(listener);
    setInterval(() => this.watch(), 1000);
    for (const event of ["visibilitychange", "pageshow", "online"]) addEventListener(event, () => this.woken(), true);
    // a page that is left says so, and need not be waited for
    addEventListener("pagehide", () => {
      this.singles.stop();
      this.forget();
    });
  }

  /** Whether pictures come one by one, more slowly, as no stream can be had. */
  get bySingles() {
    return this.singles.connected;
  }

  connect() {
    clearTimeout(this.timer);
    this.forget();
    const socket = new WebSocket(this.url);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    this.heardAt = Date.now();
    socket.onopen = () => {
      this.waitMs = SHORTEST_WAIT_MS;
      this.failed = 0;
      this.singles.stop();
      this.listener.connection(true);
    };
    socket.onmessage = (event) => {
      this.heardAt = Date.now();
      if (typeof event.data === "string") this.hear(event.data);
      else this.listener.picture(event.data);
    };
    socket.onclose = () => this.lost();
  }

  /** Leaves the socket there is, if any, and never hears from it again. */
  forget() {
    const old = this.socket;
    this.socket = null;
    if (old === null) return;
    old.onopen = old.onmessage = old.onclose = null;
    old.close();
  }

  /** @param {number} publication newest picture that is on the screen, or was passed over for a newer one */
  drawn(publication) {
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(`drawn ${publication}`);
    else this.singles.drawn(publication);
  }

  /** @param {string} text */
  hear(text) {
    const { state, device, access } = JSON.parse(text);
    this.deviceUp = device === "up";
    if (access) this.listener.access(access);
    this.listener.state(state ?? null, this.deviceUp);
  }

  lost() {
    this.forget();
    if (!this.bySingles) this.listener.connection(false);
    this.failed += 1;
    if (this.failed >= TRIES && !document.hidden) this.singles.start();
    this.timer = window.setTimeout(() => this.connect(), this.waitMs);
    this.waitMs = Math.min(this.waitMs * 2, LONGEST_WAIT_MS);
  }

  watch() {
    const patience = this.deviceUp ? SILENCE_MS : SILENCE_WITHOUT_DEVICE_MS;
    if (this.socket === null || Date.now() - this.heardAt < patience) return;
    this.lost();
  }

  woken() {
    if (document.hidden) return;
    this.watch();
    if (this.socket === null) this.connect();
  }
}
