/**
 * What a place is, and what the page gives it. Types only.
 *
 * A place is one `<main id="NAME" class="place" hidden>` in `templates/NAME.html`, one class in `static/NAME/NAME_place.js`, its words
 * in `static/words/{en,de,es}/NAME.ftl` (among them `NAME-place`, its name on the Places sheet, and `NAME-about`, one line what it
 * is for), and one line in `place_table.js`. It is built when it is first opened, and hidden, not thrown away, when it is left: what
 * was typed there is still there.
 *
 * @typedef {object} Place
 * @property {(parts: string[]) => void} open its address is on the screen: `#review/K7` opens review with ["K7"]; again when only
 *   the parts change
 * @property {() => void} close it is left: ends timers, streams and work
 * @property {() => void} [relabel] the language has changed: writes anew what it wrote without `put`
 *
 * @typedef {object} Page
 * @property {import("./acts.js").Acts} acts asks the device, and says on the line what it refuses
 * @property {import("./calm_line.js").CalmLine} line
 * @property {import("./sheets.js").Sheets} sheets
 * @property {typeof import("./words.js").words} words
 * @property {import("./known_state.js").KnownState} known what the device said, how long ago, and whether the stream is open
 * @property {import("../picture/picture_stream.js").PictureStream} stream
 * @property {(take: ((message: ArrayBuffer) => void) | null) => void} takePictures whose pictures go where; null: nobody's
 * @property {(place: string, ...parts: string[]) => void} go to another place
 * @property {() => import("./device_state.js").DeviceState | null} state what the device said last, null when that is too long ago
 * @property {(heard: (state: import("./device_state.js").DeviceState | null) => void) => void} onState
 * @property {() => void} unpaired this tablet is not paired any more: the page asks for the word
 */

export {};
