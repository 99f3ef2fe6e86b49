/** @import { DeviceState } from "./device_state.js" */

/** What is known of the device is this old at most, in ms; after that the page says that it does not know. */
export const KNOWN_FOR_MS = 2000;

/** What the device said last, as long as it can be believed. */
export class KnownState {
  /** @param {() => number} nowMs */
  constructor(nowMs = () => performance.now()) {
    this.nowMs = nowMs;
    /** @type {DeviceState | null} */
    this.said = null;
    this.saidAt = 0;
    this.connected = false;
    /** @type {((state: DeviceState | null) => void)[]} */
    this.listeners = [];
  }

  /** @returns {DeviceState | null} null where nothing was said, or too long ago to be true */
  state() {
    return this.connected && this.sinceMs() < KNOWN_FOR_MS ? this.said : null;
  }

  /** How long ago the device said so. */
  sinceMs() {
    return this.nowMs() - this.saidAt;
  }

  /**
   * @param {DeviceState | null} state
   * @param {boolean} deviceUp
   */
  heard(state, deviceUp) {
    this.said = deviceUp ? state : null;
    this.saidAt = this.nowMs();
    this.tell();
  }

  /** @param {boolean} open whether the device's stream is */
  connection(open) {
    this.connected = open;
    if (!open) this.said = null;
    this.tell();
  }

  tell() {
    for (const listener of this.listeners) listener(this.said);
  }
}
