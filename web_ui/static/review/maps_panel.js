/** @import { Acts } from "../page/acts.js" */
/** @import { KeptMap, KeptMaps, MapValue, ReviewedRecording } from "./review_types.js" */

import { numberText } from "../page/number_text.js";
import { ticksOf } from "../charts/picture_sheet.js";
import { saveFile } from "../charts/saved_file.js";
import { element, write } from "../page/element.js";
import { said } from "../page/said.js";
import { made } from "../page/made.js";
import { words } from "../page/words.js";
import { PointReader } from "../picture/point_reader.js";
import { decimalsOf, mapSheet } from "./map_sheet.js";
import { figureMeans, figureName, mapValueText, unitWord } from "./figure_words.js";
import { measuredMaps, tellOfDye } from "./measured_maps.js";
import { NewestWins } from "./newest_wins.js";
import { fetchPatiently, learnPatiently } from "./patient_fetch.js";
import { recordingPath } from "./recording_path.js";

/** Maps of the inflow: one at a time, with its scale in numbers, and the value under a finger. */
export class MapsPanel {
  /**
   * @param {Acts} acts
   * @param {number[][]} colours of the scale, rising
   */
  constructor(acts, colours) {
    this.acts = acts;
    this.colours = colours;
    this.place = element("review-maps");
    this.choices = element("review-map-choices", HTMLSelectElement);
    this.choices.onchange = () => this.choose(this.choices.value);
    this.picture = element("review-map", HTMLImageElement);
    this.frame = element("review-map-frame");
    this.value = element("review-map-value");
    /** @type {ReviewedRecording | null} */
    this.review = null;
    /** @type {KeptMaps | null} */
    this.maps = null;
    this.chosen = "arrival_s";
    this.showing = new NewestWins((/** @type {string} */ path) => this.load(path));
    this.reading = new NewestWins((/** @type {{x: number, y: number}} */ share) => this.read(share));
    this.reader = new PointReader(this.frame, (share) => this.reading.ask(share));
    element("review-map-png").onclick = () => void this.save("png");
    element("review-map-csv").onclick = () => void this.save("csv");
  }

  /** @param {ReviewedRecording} review */
  async show(review) {
    this.review = review;
    this.place.hidden = !review.has_maps;
    if (!review.has_maps) return;
    /** @type {KeptMaps | null} */
    const maps = await learnPatiently(this.acts, recordingPath(review.name, "maps"));
    if (maps === null || this.review !== review) return;
    this.maps = maps;
    this.choices.replaceChildren(
      ...measuredMaps(maps).map(({ name }) => {
        const choice = document.createElement("option");
        choice.value = name;
        choice.textContent = figureName(name);
        return choice;
      }),
    );
    element("review-maps-nothing").hidden = tellOfDye(maps);
    const measured = measuredMaps(maps);
    this.choose((measured.find(({ name }) => name === this.chosen) ?? measured[0] ?? maps.maps[0])?.name ?? "");
  }

  /** @param {string} name */
  choose(name) {
    const map = this.maps?.maps.find((one) => one.name === name);
    if (map === undefined || this.review === null) return;
    this.chosen = name;
    this.choices.value = name;
    const { width, height } = this.review;
    this.frame.style.setProperty("--aspect", `${Math.floor(width / 2)} / ${Math.floor(height / 2)}`);
    this.showing.ask(`${recordingPath(this.review.name, "maps", `${name}.png`)}?legend=false`);
    this.picture.alt = words("review-map-alt", { what: figureName(name) });
    write(element("review-map-means"), figureMeans(name));
    element("review-map-notes").replaceChildren(...map.notes.map((note) => made("p", "words", said(note))));
    this.drawScale(map);
    write(this.value, words("review-map-touch"));
    this.reader.forget();
  }

  /** Others may look at a recording just now: the map waits for its turn. @param {string} path */
  async load(path) {
    try {
      const map = await (await fetchPatiently(path)).blob();
      URL.revokeObjectURL(this.picture.src);
      this.picture.src = URL.createObjectURL(map);
    } catch (error) {
      this.acts.failed(error);
    }
  }

  /** @param {KeptMap} map */
  drawScale({ low, high, step, unit }) {
    const bar = element("review-map-scale", HTMLCanvasElement);
    const paper = bar.getContext("2d");
    if (paper === null) return;
    this.colours.forEach(([red, green, blue], index) => {
      paper.fillStyle = `rgb(${red} ${green} ${blue})`;
      paper.fillRect(index, 0, 1, 1);
    });
    element("review-map-ticks").replaceChildren(...ticksOf({ low, high, step }, (number) => numberText(number, decimalsOf(step))).map(({ share, text }) => {
      const tick = made("span", "review-tick", text);
      tick.style.setProperty("--share", String(share));
      return tick;
    }));
    write(element("review-map-unit"), unitWord(unit));
  }

  /** @param {{x: number, y: number}} share */
  async read(share) {
    const review = this.review;
    if (review === null) return;
    const query = `x=${Math.floor(share.x * review.width)}&y=${Math.floor(share.y * review.height)}`;
    try {
      /** @type {MapValue} */
      const found = await (await fetchPatiently(`${recordingPath(review.name, "maps", this.chosen, "value")}?${query}`)).json();
      write(this.value, mapValueText(found));
      this.value.classList.toggle("uncertain", found.value === null);
    } catch (error) {
      this.acts.failed(error);
    }
  }

  /** @param {"png" | "csv"} kind */
  async save(kind) {
    const { review, maps, chosen } = this;
    const map = maps?.maps.find(({ name }) => name === chosen);
    if (review === null || maps === null || map === undefined) return;
    try {
      const answer = await fetchPatiently(`${recordingPath(review.name, "maps", `${chosen}.${kind}`)}?legend=false`);
      const kept = await answer.blob();
      const file = kind === "csv" ? kept : await mapSheet(review, maps, map, await createImageBitmap(kept), this.colours.map((one) => `rgb(${one.join(" ")})`));
      saveFile(file, `${review.name}-${chosen}.${kind}`);
    } catch {
      this.acts.line.say(words("review-not-saved"));
    }
  }
}
