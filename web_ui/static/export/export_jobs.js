/** @import { Page } from "../page/place.js" */
/** @import { ExportJob } from "./export_types.js" */

import { button, element } from "../page/element.js";
import { made } from "../page/made.js";
import { said } from "../page/said.js";
import { shareText, storageText } from "../page/number_text.js";
import { words } from "../page/words.js";
import { driveName } from "./export_room.js";

/** The export that runs, how far it is, and what was written by those before it. */
export class ExportJobs {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.place = element("export-jobs");
    this.text = "";
    /** @type {ExportJob | undefined} while one is written no older one says that a stick can be pulled */
    this.newest = undefined;
    /** @type {HTMLProgressElement | null} */
    this.bar = null;
  }

  /** @param {ExportJob[]} jobs newest last */
  show(jobs) {
    const text = JSON.stringify(jobs.map((job) => ({ ...job, done: job.finished ? 1 : 0 })));
    if (text !== this.text) {
      this.text = text;
      this.bar = null;
      this.newest = jobs.at(-1);
      this.place.replaceChildren(...jobs.toReversed().map((job) => this.job(job)));
    }
    const running = jobs.at(-1);
    if (this.bar === null || running === undefined) return;
    this.bar.value = running.done;
    const share = this.bar.nextElementSibling;
    if (share !== null && share.textContent !== shareText(running.done)) share.textContent = shareText(running.done);
  }

  /** @param {ExportJob} job */
  job(job) {
    const row = made("li", job.finished ? "export-job" : "export-job runs");
    row.append(made("strong", "job-title", this.title(job)));
    if (!job.finished) {
      this.bar = made("progress", "job-bar");
      this.bar.max = 1;
      this.bar.setAttribute("aria-label", words("export-progress"));
      const stop = button(words("export-stop"), () => void this.page.acts.run("DELETE", "/exports/running", undefined, stop));
      row.append(made("div", "job-progress", this.bar, made("span", "job-share", shareText(job.done)), stop));
      return row;
    }
    row.append(...this.outcome(job), ...(this.newest === job && isOnDrive(job.target) ? [pullWords(job)] : []));
    return row;
  }

  /** @param {ExportJob} job */
  title(job) {
    const count = (job.recordings ?? []).length || 1;
    const where = driveName(job.target);
    if (!job.finished) return words("export-writing", { what: job.recording, where });
    if (job.stopped === true) return words("export-was-stopped", { where });
    if (job.error !== "") return words("export-failed", { where });
    return words("export-written", { count, where });
  }

  /** @param {ExportJob} job */
  outcome(job) {
    return [...this.troubles(job), ...this.written(job)];
  }

  /** @param {ExportJob} job */
  troubles({ error, stopped, folders = [], failed = [] }) {
    if (error === "" && stopped !== true) return [];
    const why = stopped === true ? [] : [made("p", "export-trouble", said(error))];
    const left = made("p", "", words(folders.length > 0 ? "export-whole-stay" : "export-nothing-left"));
    return [...why, ...failed.map((line) => made("p", "export-trouble", said(line))), left];
  }

  /** @param {ExportJob} job */
  written({ files, file_count: count = files.length, size_mb: size = 0, folders = [], notes = [] }) {
    if (folders.length === 0) return [];
    const checked = made("p", "", words("export-checked", { count, size: storageText(Math.max(size, 1)) }));
    const besides = notes.length === 0 ? [] : [made("details", "folded", made("summary", "", words("export-notes")), list(notes.map(said)))];
    return [checked, list(folders), ...besides];
  }
}

/** Where sticks are mounted, as `device/drives.py` looks for them. @param {string} target */
function isOnDrive(target) {
  return /^\/(media|run\/media|mnt)\//.test(target);
}

/**
 * Every file was read back (`device/export/delivery.py`), and the drive said that it holds nothing back (`settled.py`), or it did not.
 *
 * @param {ExportJob} job
 */
function pullWords({ error, stopped, settled, folders = [] }) {
  if (settled !== true) return made("p", "export-trouble", words("export-pull-not-known"));
  const whole = error === "" && stopped !== true && folders.length > 0;
  return made("p", "export-pull", words(whole ? "export-pull-written" : "export-pull"));
}

/** @param {string[]} lines */
function list(lines) {
  return made("ul", "job-lines", ...lines.map((line) => made("li", "", line)));
}
