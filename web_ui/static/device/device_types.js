/**
 * What the device and the page's server tell of themselves, as in `shared/protocol/device_facts.py` and `web_ui/device_api.py`. Types
 * only.
 *
 * @typedef {{at: string, reason: string, tried: boolean}} Trip
 * @typedef {{section: string, key: string, value: string, changed: boolean, about: string}} SettingLine
 *
 * @typedef {object} DeviceFacts
 * @property {string} now
 * @property {"by network" | "not since the start" | "not known"} clock_set
 * @property {string} clock_words empty: nothing is wrong
 * @property {string} version
 * @property {string} started_at
 * @property {number} memory_mb
 * @property {number} storage_total_mb
 * @property {number} storage_free_mb
 * @property {number} minutes_left
 * @property {number} asked_rate_hz
 * @property {Trip[]} trips
 * @property {string} settings_file
 * @property {SettingLine[]} settings
 *
 * @typedef {object} Serving
 * @property {boolean} encrypted
 * @property {string} fingerprint
 * @property {string[]} names
 * @property {string[]} addresses
 * @property {string} started_at
 * @property {number} memory_mb
 * @property {number} tablets
 *
 * @typedef {{device: DeviceFacts, page: Serving}} About
 */

export {};
