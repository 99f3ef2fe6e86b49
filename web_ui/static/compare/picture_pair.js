/** @import { Acts } from "../page/acts.js" */
/** @import { Share } from "../picture/point_reader.js" */
/** @import { ComparedPictures, ComparedPoint, Comparison } from "./compare_types.js" */

import { ask, Refusal } from "../page/device_api.js";
import { element, write } from "../page/element.js";
import { made } from "../page/made.js";
import { numberText } from "../page/number_text.js";
import { words } from "../page/words.js";
import { PointReader } from "../picture/point_reader.js";
import { drawOutlines } from "../picture/still_outlines.js";
import { NewestWins } from "../review/newest_wins.js";
import { pointText } from "./compared_text.js";

const PICTURES = /** @type {const} */ ([["compare-first", "first"], ["compare-second", "second"], ["compare-change", "difference"]]);

/** Both runs' ends beside each other, one laid over the other, or their difference, with their regions and the values under a finger. */
export class PicturePair {
  /** @param {Acts} acts */
  constructor(acts) {
    this.acts = acts;
    this.path = "";
    this.reading = new NewestWins((/** @type {Share} */ share) => this.learn(share));
    this.readers = [...document.querySelectorAll(".compare-frame")].map((frame) => new PointReader(/** @type {HTMLElement} */ (frame), (share) => this.read(share)));
    this.stage = element("compare-stage");
    this.look = "beside";
    /** @type {ComparedPictures | null} */
    this.about = null;
    this.madeAt = "";
    this.slider = element("compare-blend", HTMLInputElement);
    this.slider.oninput = () => this.blend();
    for (const choice of document.querySelectorAll("[data-look]")) {
      choice.addEventListener("click", () => this.choose(choice.getAttribute("data-look") ?? "beside"));
    }
    this.choose("beside");
  }

  /**
   * @param {Comparison} found
   * @param {string} path of what is kept of it
   */
  show(found, path) {
    const isNew = this.path !== path || this.madeAt !== found.made_at;
    [this.about, this.path, this.madeAt] = [found.pictures, path, found.made_at];
    if (isNew) this.forget();
    element("compare-pictures").hidden = found.pictures === null;
    if (found.pictures === null) return;
    for (const [id, name] of PICTURES) {
      const picture = element(id, HTMLImageElement);
      picture.width = found.pictures.width;
      picture.height = found.pictures.height;
      picture.src = `/api/v1${path}/${name}.png?made=${encodeURIComponent(found.made_at)}`;
    }
    element("compare-first", HTMLImageElement).alt = words("compare-first-alt", { name: found.first, reference: found.reference });
    element("compare-second", HTMLImageElement).alt = words("compare-second-alt", { name: found.second, reference: found.reference });
    element("compare-change", HTMLImageElement).alt = words("compare-change-alt");
    write(element("compare-first-name"), words("compare-first-caption", { name: found.first }));
    write(element("compare-second-name"), words("compare-second-caption", { name: found.second }));
    this.drawOutlines(found.pictures);
    this.legend();
  }

  /** @param {ComparedPictures} pictures */
  drawOutlines(pictures) {
    const { width, height } = pictures;
    const marked = markedOf(pictures);
    for (const { frame } of this.readers) {
      frame.style.setProperty("--aspect", String(width / height));
      const place = frame.querySelector("svg");
      if (place !== null) drawOutlines(place, marked, { width: 2 * width, height: 2 * height });
    }
  }

  forget() {
    for (const reader of this.readers) reader.forget();
    write(element("compare-value"), words("compare-touch"));
  }

  /** @param {Share} share */
  read(share) {
    for (const reader of this.readers) reader.place(share);
    this.reading.ask(share);
  }

  /** @param {Share} share */
  async learn(share) {
    const { about, path } = this;
    if (about === null) return;
    try {
      /** @type {ComparedPoint} */
      const found = await ask("GET", `${path}/value?x=${Math.floor(share.x * about.width)}&y=${Math.floor(share.y * about.height)}`);
      if (path === this.path) write(element("compare-value"), pointText(found));
    } catch (error) {
      this.acts.failed(error);
    }
  }

  get images() {
    return PICTURES.map(([id]) => element(id, HTMLImageElement));
  }

  /** @param {string} look */
  choose(look) {
    this.look = look;
    this.stage.className = `compare-stage ${look}`;
    element("compare-blend-field").hidden = look !== "blend";
    for (const choice of document.querySelectorAll("[data-look]")) {
      choice.setAttribute("aria-pressed", String(choice.getAttribute("data-look") === look));
    }
    this.blend();
    this.legend();
  }

  blend() {
    element("compare-second").style.opacity = this.look === "blend" ? String(this.slider.valueAsNumber / 100) : "";
  }

  legend() {
    const { about } = this;
    if (about === null) return;
    const isChange = this.look === "difference";
    const end = isChange ? about.difference_full_scale_percent : about.full_scale_percent;
    const ticks = isChange ? [-end, -end / 2, 0, end / 2, end] : [0, end / 4, end / 2, (3 * end) / 4, end];
    const unit = isChange ? words("compare-points") : "%";
    element("compare-legend").replaceChildren(
      made("p", "compare-legend-title", words(isChange ? "compare-legend-change" : "compare-legend-percent")),
      made("div", isChange ? "compare-ramp change-ramp" : "compare-ramp percent-ramp"),
      made("div", "compare-ticks", ...ticks.map((tick) => made("span", "", tickText(tick, isChange, unit)))),
      made("p", "quiet-words", words("compare-legend-marks", { points: numberText(about.widest_u_percent, 0), share: numberText(100 * about.certain_share, 0) })),
    );
  }
}

/**
 * Reference and regions as they are outlined; none in what was compared before these were kept.
 *
 * @param {ComparedPictures} pictures
 */
export function markedOf({ outlines }) {
  const { reference, regions } = outlines ?? { reference: "", regions: [] };
  return [...(reference === "" ? [] : [{ text: reference, isReference: true }]), ...regions.map((text) => ({ text, isReference: false }))];
}

/**
 * @param {number} tick
 * @param {boolean} signed
 * @param {string} unit
 */
export function tickText(tick, signed, unit) {
  const text = numberText(Math.abs(tick), Number.isInteger(tick) ? 0 : 1);
  const sign = tick < 0 ? "−" : signed && tick > 0 ? "+" : "";
  return `${sign}${text} ${unit}`;
}

/**
 * What is kept of comparing two, or null where they were not compared.
 *
 * @param {string} path
 * @returns {Promise<Comparison | null>}
 */
export async function keptComparison(path) {
  try {
    return await ask("GET", path);
  } catch (error) {
    if (error instanceof Refusal && error.ofDevice === "these two were not compared yet") return null;
    throw error;
  }
}
