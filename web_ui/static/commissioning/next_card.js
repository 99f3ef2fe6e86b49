/** @import { CommissioningPlace } from "./commissioning_place.js" */
/** @import { Commissioning } from "./commissioning_types.js" */
/** @import { Next } from "./what_next.js" */

import { button } from "../page/element.js";
import { made } from "../page/made.js";
import { words } from "../page/words.js";
import { nameOf } from "./step_words.js";
import { whatNext } from "./what_next.js";

/** What to do, with the name of the step it is about. */
const NEXT_WORDS = {
  replay: "commissioning-not-for-replay",
  decide: "commissioning-next-decide",
  start: "commissioning-next-start",
  step: "commissioning-next-step",
  old: "commissioning-next-old",
  failing: "commissioning-next-failing",
  force: "commissioning-next-force",
  check: "commissioning-next-check",
  "check failed": "commissioning-next-check-failed",
  ready: "commissioning-next-ready",
  optional: "commissioning-next-optional",
};

/**
 * The one thing to do next, in words, with the button that leads there.
 *
 * @param {CommissioningPlace} desk
 * @param {Commissioning} known
 * @returns {Node[]}
 */
export function nextCard(desk, known) {
  const next = whatNext(known);
  const step = next.step === null ? "" : nameOf(next.step);
  const text = words(NEXT_WORDS[next.what], { step, days: next.days, limit: known.oldest_days });
  return [made("h2", "", words("commissioning-next")), made("p", "", text), act(desk, next)];
}

/**
 * The sheet on which it can be done.
 *
 * @param {Commissioning} known
 */
export function sheetOfNext(known) {
  const { what, step } = whatNext(known);
  return step ?? (what === "replay" ? "papers" : "check");
}

/**
 * @param {CommissioningPlace} desk
 * @param {Next} next
 */
function act(desk, { what, step }) {
  if (what === "force") return button(words("commissioning-next-force-now"), () => desk.askForce(), "strong");
  if (what === "ready") return button(words("commissioning-next-live"), () => desk.page.go("live"), "strong");
  const sheet = step ?? (what === "replay" ? "papers" : "check");
  const word = what === "decide" ? words("commissioning-look-at-it") : nameOf(sheet);
  return button(word, () => desk.page.go("commissioning", sheet), "strong");
}
