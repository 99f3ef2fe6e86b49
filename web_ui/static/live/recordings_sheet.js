/** @import { Acts } from "../page/acts.js" */
/** @import { DeviceState, ExportJob, RecordingSummary } from "../page/device_state.js" */

import { button, element, write } from "../page/element.js";
import { durationText, storageText } from "../page/value_text.js";
import { locale, put, words } from "../page/words.js";

/** What was recorded, and its way to other software. */
export class RecordingsSheet {
  /** @param {Acts} acts */
  constructor(acts) {
    this.acts = acts;
    this.list = element("recordings-list");
    this.form = element("export-form", HTMLFormElement);
    this.exports = element("exports");
    this.chosen = "";
    /** @type {Map<number, HTMLElement>} */
    this.jobs = new Map();
    this.running = "";
    this.form.onsubmit = (event) => {
      event.preventDefault();
      void this.startExport();
    };
    element("case-form", HTMLFormElement).onsubmit = (event) => event.preventDefault();
  }

  /** The code for the next recording. */
  caseCode() {
    return element("case-code", HTMLInputElement).value.trim();
  }

  async opened() {
    this.putFormAway();
    const { done, answer } = await this.acts.run("GET", "/recordings", undefined, this.list);
    if (!done) return;
    /** @type {RecordingSummary[]} */
    const recordings = answer.recordings;
    element("recordings-teach").hidden = recordings.length > 0;
    this.list.replaceChildren(...recordings.map((recording) => this.row(recording)));
  }

  /** The list is about to change: the form must not leave with a row. */
  putFormAway() {
    this.form.hidden = true;
    element("sheet-recordings").append(this.form);
  }

  /** @param {RecordingSummary} recording */
  row(recording) {
    const line = document.createElement("li");
    line.className = "row";
    const said = document.createElement("p");
    said.className = "row-words";
    const title = document.createElement("strong");
    title.textContent = recording.case || recording.name;
    const about = document.createElement("span");
    about.className = "row-about";
    about.textContent = recordingAbout(recording);
    said.append(title, about);
    const acts = document.createElement("div");
    acts.className = "row-acts";
    acts.append(button(words("live-export"), () => this.choose(recording, line)));
    line.append(said, acts);
    return line;
  }

  /**
   * @param {RecordingSummary} recording
   * @param {HTMLElement} row
   */
  choose(recording, row) {
    this.chosen = recording.name;
    put(element("export-title"), "live-export-what", { what: recording.case || recording.name });
    row.append(this.form);
    this.form.hidden = false;
    this.form.scrollIntoView({ block: "nearest" });
    this.form.querySelector("input")?.focus({ preventScroll: true });
  }

  async startExport() {
    const formats = [...this.form.querySelectorAll("input[type=checkbox]")]
      .filter((box) => box instanceof HTMLInputElement && box.checked)
      .map((box) => (box instanceof HTMLInputElement ? box.value : ""));
    if (formats.length === 0) {
      this.acts.line.say(words("live-export-choose"));
      return;
    }
    const target = element("export-target", HTMLInputElement).value.trim() || null;
    const { done } = await this.acts.run("POST", "/exports", { recording: this.chosen, formats, target }, this.form);
    if (done) this.putFormAway();
  }

  /** @param {DeviceState | null} state */
  show(state) {
    if (state === null) return;
    const numbers = new Set(state.exports.map((job) => job.number));
    for (const [number, place] of this.jobs) {
      if (numbers.has(number)) continue;
      place.remove();
      this.jobs.delete(number);
    }
    for (const job of state.exports) this.showJob(job);
    const running = state.recording.name ?? "";
    if (running !== this.running && !element("sheet-recordings").hidden) void this.opened();
    this.running = running;
  }

  /** @param {ExportJob} job */
  showJob(job) {
    let place = this.jobs.get(job.number);
    if (place === undefined) {
      place = document.createElement("div");
      place.className = "export";
      place.append(document.createElement("p"), document.createElement("progress"));
      this.exports.prepend(place);
      this.jobs.set(job.number, place);
    }
    const [said, progress] = place.children;
    if (said) write(said, exportWords(job));
    if (progress instanceof HTMLProgressElement) {
      progress.hidden = job.finished;
      progress.value = job.done;
      progress.setAttribute("aria-label", words("live-export-of", { what: job.recording }));
    }
  }
}

/** @param {RecordingSummary} recording */
export function recordingAbout(recording) {
  const parts = [
    startText(recording.started_at),
    durationText(recording.seconds),
    storageText(recording.size_mb),
    ...(recording.gaps > 0 ? [words("live-recording-gaps", { gaps: recording.gaps })] : []),
    ...(recording.complete ? [] : [words("live-recording-cut-off")]),
  ];
  return parts.join(" · ");
}

/** @param {string} startedAt ISO 8601 */
function startText(startedAt) {
  if (startedAt === "") return words("live-date-unknown");
  const at = new Date(startedAt);
  if (Number.isNaN(at.getTime())) return startedAt;
  return at.toLocaleString(locale(), { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
}

/** @param {ExportJob} job */
export function exportWords(job) {
  if (job.error !== "") return words("live-export-failed", { what: job.recording, why: job.error });
  if (job.finished) return words("live-export-written", { what: job.recording, files: job.files.length, target: job.target });
  return words("live-exporting", { what: job.recording, percent: Math.floor(job.done * 100) });
}
