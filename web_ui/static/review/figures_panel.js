/** @import { KeptAnalysis } from "./review_types.js" */

import { element } from "../page/element.js";
import { said } from "../page/said.js";
import { figureMeans, figureName, figureText } from "./figure_words.js";

/** The figures of each region in plain words, each with its uncertainty, its unit, and what it means. */
export class FiguresPanel {
  constructor() {
    this.place = element("review-figures");
  }

  /** @param {KeptAnalysis | null} analysis */
  show(analysis) {
    this.place.replaceChildren(...(analysis?.regions ?? []).map((region) => card(region)));
  }
}

/** @param {KeptAnalysis["regions"][number]} region */
function card({ name, figures, flags }) {
  const place = document.createElement("section");
  place.className = "review-card";
  const title = document.createElement("h3");
  title.className = "review-region-name";
  title.textContent = name;
  const rows = figures.map((figure) => {
    const row = document.createElement("details");
    row.className = "review-figure";
    const summary = document.createElement("summary");
    const word = document.createElement("span");
    word.textContent = figureName(figure.key);
    const value = document.createElement("strong");
    value.textContent = figureText(figure);
    value.classList.toggle("uncertain", figure.value === null);
    value.dataset["key"] = figure.key;
    summary.append(word, value);
    const means = document.createElement("p");
    means.className = "words";
    means.textContent = figureMeans(figure.key);
    row.append(summary, means);
    return row;
  });
  const notes = flags.map((flag) => {
    const line = document.createElement("p");
    line.className = "words review-flag";
    line.textContent = said(flag);
    return line;
  });
  place.append(title, ...rows, ...notes);
  return place;
}
