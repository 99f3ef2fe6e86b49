/** @import { DeviceState } from "../page/device_state.js" */
/** @import { Page, Place } from "../page/place.js" */
/** @import { ExportDrive, ExportEstimate } from "./export_types.js" */

import { ask } from "../page/device_api.js";
import { element, write } from "../page/element.js";
import { made } from "../page/made.js";
import { storageText } from "../page/number_text.js";
import { language, words } from "../page/words.js";
import { ExportJobs } from "./export_jobs.js";
import { driveName, fits, neededMb } from "./export_room.js";

const LOOK_AGAIN_MS = 4000;
const FORMATS = /** @type {const} */ (["csv", "png", "mp4", "maps", "tiff"]);
const FORMAT_WORDS = { csv: "export-csv", png: "export-png", mp4: "export-mp4", maps: "export-maps", tiff: "export-tiff" };
const ABOUT_WORDS = { csv: "export-csv-about", png: "export-png-about", mp4: "export-mp4-about", maps: "export-maps-about", tiff: "export-tiff-about" };
const FIRST_CHOSEN = ["csv", "png"];

/**
 * Recordings as files for other software: which files, where to, how large, how far, what was written and checked.
 *
 * @implements {Place}
 */
export class ExportPlace {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.jobs = new ExportJobs(page);
    /** @type {string[]} */
    this.names = [];
    /** @type {ExportEstimate | null} */
    this.estimate = null;
    this.drives = "";
    this.shown = false;
    this.running = false;
    this.timer = 0;
    this.form = element("export-form-place", HTMLFormElement);
    this.folder = element("export-folder", HTMLInputElement);
    this.makeFormats();
    this.form.onchange = () => this.showRoom();
    this.folder.oninput = () => this.showRoom();
    this.form.onsubmit = (event) => {
      event.preventDefault();
      void this.start();
    };
    page.onState((state) => this.heard(state));
  }

  /** @param {string[]} names */
  open(names) {
    this.shown = true;
    this.names = names.filter((name) => name !== "");
    this.estimate = null;
    element("export-nothing").hidden = this.names.length > 0;
    this.form.hidden = this.names.length === 0;
    element("export-what").replaceChildren(...this.names.map((name) => made("li", "", name)));
    write(element("export-missing"), "");
    this.heard(this.page.state());
    void this.look();
  }

  close() {
    this.shown = false;
    clearTimeout(this.timer);
  }

  relabel() {
    this.makeFormats();
    this.drives = "";
    this.jobs.text = "";
    if (this.shown) this.open(this.names);
  }

  makeFormats() {
    const chosen = this.formats();
    const place = element("export-kinds");
    const first = place.childElementCount === 0;
    place.replaceChildren(...FORMATS.map((format) => {
      const box = made("input", "");
      box.type = "checkbox";
      box.name = "export-format";
      box.value = format;
      box.checked = first ? FIRST_CHOSEN.includes(format) : chosen.includes(format);
      const size = made("span", "choice-size");
      size.dataset["sizeOf"] = format;
      return choice(box, words(FORMAT_WORDS[format]), words(ABOUT_WORDS[format]), size);
    }));
  }

  /** How large it becomes and which drives there are: sticks come and go. */
  async look() {
    clearTimeout(this.timer);
    if (!this.shown || this.names.length === 0) return;
    const query = new URLSearchParams(this.names.map((name) => ["recording", name]));
    try {
      this.estimate = await ask("GET", `/exports/estimate?${query}`);
    } catch (error) {
      this.page.acts.failed(error);
    }
    if (!this.shown) return;
    this.show();
    this.timer = window.setTimeout(() => void this.look(), LOOK_AGAIN_MS);
  }

  show() {
    const { estimate } = this;
    if (estimate === null) return;
    for (const { format, size_mb } of estimate.sizes) {
      const place = this.form.querySelector(`[data-size-of="${format}"]`);
      if (place !== null) write(place, words("export-about-size", { size: storageText(Math.max(size_mb, 1)) }));
    }
    write(element("export-missing"), estimate.missing.length === 0 ? "" : words("export-missing", { what: estimate.missing.join(", ") }));
    this.showDrives(estimate.drives);
    this.showRoom();
  }

  /** @param {ExportDrive[]} drives */
  showDrives(drives) {
    element("export-no-drive").hidden = drives.length > 0;
    const text = JSON.stringify(drives);
    if (text === this.drives) return;
    this.drives = text;
    const chosen = this.target();
    const held = document.activeElement instanceof HTMLInputElement && document.activeElement.name === "export-target"
      ? document.activeElement.value : "";
    element("export-drives").replaceChildren(...drives.map((drive) => {
      const radio = made("input", "");
      radio.type = "radio";
      radio.name = "export-target";
      radio.value = drive.path;
      radio.disabled = drive.read_only || drive.free_mb === null;
      radio.checked = !radio.disabled && chosen === drive.path;
      return choice(radio, driveName(drive.path), driveText(drive));
    }));
    const radios = [...this.form.querySelectorAll("input[name=export-target]")].filter((one) => one instanceof HTMLInputElement);
    if (!radios.some((one) => one.checked)) {
      const first = radios.find((one) => !one.disabled && one.value !== "folder");
      if (first !== undefined) first.checked = true;
    }
    radios.find((one) => held !== "" && one.value === held)?.focus();
  }

  showRoom() {
    const needed = neededMb(this.estimate, this.formats());
    const target = this.target();
    element("export-folder-field").hidden = target !== "folder";
    const drive = this.estimate?.drives.find((one) => one.path === target);
    const isThere = target === "folder" ? this.folder.value.trim() !== "" : drive !== undefined;
    const hasRoom = fits(drive, needed);
    write(element("export-room"), roomText(needed, drive, hasRoom));
    element("export-start", HTMLButtonElement).disabled = this.running || !isThere || !hasRoom || !this.hasAny();
  }

  /** Whether there is anything to write. */
  hasAny() {
    return this.formats().length > 0 && (this.estimate?.missing.length ?? 0) < this.names.length;
  }

  formats() {
    return this.checked("export-format");
  }

  target() {
    return this.checked("export-target")[0] ?? "";
  }

  /** @param {string} name */
  checked(name) {
    return [...this.form.querySelectorAll(`input[name=${name}]:checked`)].map((one) => /** @type {HTMLInputElement} */ (one).value);
  }

  async start() {
    const missing = this.estimate?.missing ?? [];
    const [recording, ...after] = this.names.filter((name) => !missing.includes(name));
    if (recording === undefined) return;
    const target = this.target() === "folder" ? this.folder.value.trim() : this.target();
    const asked = { recording, after_it: after, formats: this.formats(), target, language: language() };
    const { done, answer } = await this.page.acts.run("POST", "/exports", asked, element("export-start"));
    if (!done) return;
    this.running = !answer.finished;
    this.showRoom();
    element("export-jobs").scrollIntoView({ block: "nearest" });
  }

  /** @param {DeviceState | null} state */
  heard(state) {
    if (!this.shown || state === null) return;
    this.jobs.show(state.exports);
    const running = state.exports.some((job) => !job.finished);
    if (running === this.running) return;
    this.running = running;
    this.showRoom();
    if (!running) void this.look();
  }
}

/**
 * @param {HTMLInputElement} input
 * @param {string} title
 * @param {string} about
 * @param {HTMLElement[]} more
 */
function choice(input, title, about, ...more) {
  return made("label", "export-choice", input,
    made("span", "choice-words", made("strong", "", title), made("span", "quiet-words", about)), ...more);
}

/**
 * @param {number} needed MB
 * @param {ExportDrive | undefined} drive
 * @param {boolean} hasRoom
 */
function roomText(needed, drive, hasRoom) {
  const size = storageText(Math.max(needed, 1));
  const free = drive?.free_mb ?? null;
  const said = free === null ? words("export-needs", { size }) : words("export-needs-of", { size, free: storageText(free) });
  return hasRoom ? said : `${said} ${words("export-no-room")}`;
}

/** @param {ExportDrive} drive */
function driveText(drive) {
  if (drive.free_mb === null) return words("export-drive-gone");
  if (drive.read_only) return words("export-drive-read-only");
  return words("export-drive-free", { free: storageText(drive.free_mb) });
}
