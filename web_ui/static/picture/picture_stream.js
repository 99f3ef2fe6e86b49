/** @import { AccessState, DeviceState } from "../page/device_state.js" */

import { Freshness } from "./freshness.js";
import { SinglePictures } from "./single_pictures.js";
import { Transit } from "./transit.js";

const SHORTEST_WAIT_MS = 250;
const LONGEST_WAIT_MS = 4000;

/** A socket that says nothing for this long is given up: Wi-Fi may have lost it without a word. */
const SILENCE_MS = 5000;

/** The same while the imager is gone, when there is little to say. */
const SILENCE_WITHOUT_DEVICE_MS = 20_000;

/** So often the device is asked how late it is, to know how long pictures are on their way. */
const CLOCK_EVERY_MS = 2000;

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
    /** How long nothing has been heard, whatever is done to the tablet's clock. */
    this.silence = new Freshness();
    this.transit = new Transit();
    this.deviceUp = true;
    this.failed = 0;
    this.singles = new SinglePictures(listener);
    setInterval(() => this.watch(), 1000);
    setInterval(() => this.askClock(), CLOCK_EVERY_MS);
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
    this.heardNow();
    this.transit = new Transit();
    socket.onopen = () => {
      this.askClock();
      this.waitMs = SHORTEST_WAIT_MS;
      this.failed = 0;
      this.singles.stop();
      this.listener.connection(true);
    };
    socket.onmessage = (event) => {
      this.heardNow();
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

  /**
   * How long a picture was on its way. One that came by a single request has the time of the request in its age already.
   *
   * @param {number} sentMs moment of the device's clock at which it was sent
   * @param {number} receivedMs moment of the page's steady clock at which it came
   */
  onItsWayMs(sentMs, receivedMs) {
    return this.socket?.readyState === WebSocket.OPEN ? this.transit.ms(sentMs, receivedMs) : 0;
  }

  /** @param {number} publication newest picture that is on the screen, or was passed over for a newer one */
  drawn(publication) {
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(`drawn ${publication}`);
    else this.singles.drawn(publication);
  }

  heardNow() {
    this.silence.drawn(0, this.silence.stamp());
  }

  askClock() {
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(this.transit.question());
  }

  /** @param {string} text */
  hear(text) {
    const said = JSON.parse(text);
    if ("asked_ms" in said) {
      this.transit.heard(said);
      return;
    }
    const { state, device, access } = said;
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
    if (this.socket === null || (this.silence.ageMs() ?? 0) < patience) return;
    this.lost();
  }

  woken() {
    if (document.hidden) return;
    this.watch();
    if (this.socket === null) this.connect();
  }
}
