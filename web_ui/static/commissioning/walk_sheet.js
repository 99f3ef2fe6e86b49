/** @import { DeviceState } from "../page/device_state.js" */
/** @import { CommissioningPlace } from "./commissioning_place.js" */
/** @import { CheckRecord, Commissioning, StepLine, StepName, Walk } from "./commissioning_types.js" */

import { button } from "../page/element.js";
import { made } from "../page/made.js";
import { momentText } from "../page/moment_text.js";
import { said } from "../page/said.js";
import { words } from "../page/words.js";
import { checkItems } from "./check_items.js";
import { figuresTable } from "./figures_table.js";
import { StepCurve } from "./step_curve.js";
import { aboutOf, itemName, nameOf, stepNames } from "./step_words.js";
import { missingBefore, walkGuide } from "./walk_guide.js";
import { WalkProgress } from "./walk_progress.js";
import { ageDays, isTooOld } from "./what_next.js";

/**
 * One walk: what is known of it, then what to put before the camera, then how it goes, then what it found.
 *
 * @typedef {"facts" | "guide" | "running" | "result"} Mode
 */
export class WalkSheet {
  /**
   * @param {CommissioningPlace} desk
   * @param {Walk} walk
   */
  constructor(desk, walk) {
    this.desk = desk;
    this.walk = walk;
    this.name = walk;
    this.guiding = false;
    /** @type {Mode | ""} */
    this.mode = "";
    /** @type {WalkProgress | null} */
    this.progress = null;
    /** @type {StepCurve | null} */
    this.curve = null;
    this.place = made("article", "walk-sheet");
  }

  close() {
    this.curve?.close();
    this.curve = null;
  }

  /** What the device told has changed: all is written anew, but for a guide, in which someone may have typed. */
  show() {
    if (this.mode !== "guide") this.mode = "";
    this.heard(this.desk.page.state());
  }

  /** @param {DeviceState | null} state */
  heard(state) {
    const known = this.desk.known;
    if (known === null) return;
    const mode = this.modeNow(state, known);
    if (mode !== this.mode) {
      const held = this.place.contains(document.activeElement);
      this.close();
      this.progress = null;
      this.mode = mode;
      this.place.replaceChildren(...this.parts(mode, known));
      const first = held ? this.place.querySelector("button:not(:disabled), input") : null;
      if (first instanceof HTMLElement) first.focus({ preventScroll: true });
    }
    const walk = state?.walk ?? null;
    if (this.progress !== null && walk !== null && state !== null) this.progress.show(walk, state);
  }

  /**
   * @param {DeviceState | null} state
   * @param {Commissioning} known
   * @returns {Mode}
   */
  modeNow(state, known) {
    const walk = state?.walk ?? null;
    if (walk !== null && walk.running && walk.walk === this.walk) return "running";
    if (known.proposal?.step === this.walk) return "result";
    return this.guiding ? "guide" : "facts";
  }

  /**
   * @param {Mode} mode
   * @param {Commissioning} known
   * @returns {Node[]}
   */
  parts(mode, known) {
    if (mode === "running") {
      this.progress = new WalkProgress(this.walk, (pressed) => void this.desk.page.acts.run("DELETE", "/commissioning/walk", undefined, pressed));
      return [this.progress.place];
    }
    if (mode === "result") return this.result(known);
    const head = [made("h2", "", nameOf(this.walk)), made("p", "walk-about", aboutOf(this.walk))];
    if (mode === "guide") return [...head, this.guide(known)];
    return [...head, ...this.trouble(), ...this.tripped(), ...(this.walk === "check" ? this.check(known) : this.step(known, this.walk))];
  }

  /** Why the last walk of this kind gave no result. */
  trouble() {
    const walk = this.desk.page.state()?.walk ?? null;
    if (walk === null || walk.walk !== this.walk || walk.running || walk.error === "") return [];
    const line = made("p", "walk-error", words("commissioning-ended", { why: said(walk.error) }));
    line.setAttribute("role", "alert");
    return [line];
  }

  /** A light that has tripped is armed by a press of its own, as on the live place. */
  tripped() {
    const light = this.desk.page.state()?.light;
    if (light?.state !== "tripped") return [];
    const arm = button(words("commissioning-arm"), () => void this.desk.page.acts.run("POST", "/light", { act: "rearm" }, arm));
    return [made("p", "walk-why", words("commissioning-tripped", { why: said(light.reason) })), arm];
  }

  /** @param {Commissioning} known */
  guide(known) {
    return walkGuide({
      walk: this.walk,
      lights: this.walk === "check" || (this.line(known)?.lights ?? true),
      simulated: this.desk.page.state()?.camera.kind === "simulated",
      start: (request, pressed) => void this.start(request, pressed),
      cancel: () => this.leaveGuide(),
    });
  }

  leaveGuide() {
    this.guiding = false;
    this.heard(this.desk.page.state());
  }

  /**
   * @param {object} request
   * @param {Element} pressed
   */
  async start(request, pressed) {
    const { done, answer } = await this.desk.page.acts.run("POST", "/commissioning/walk", request, pressed);
    if (!done) return;
    this.desk.watch.begun(answer.walk?.started_at ?? "");
    this.guiding = false;
    this.heard(this.desk.page.state());
  }

  /** @param {Commissioning} known @returns {StepLine | undefined} */
  line(known) {
    return known.steps.find((one) => one.step === this.walk);
  }

  /** What is in the way: another walk. */
  busyWords() {
    const walk = this.desk.page.state()?.walk ?? null;
    return walk?.running ? words("commissioning-other-runs", { step: nameOf(walk.walk) }) : "";
  }

  /** @param {string} word @param {Commissioning} known @param {string} missing */
  goOn(word, known, missing = "") {
    const go = button(word, () => {
      this.guiding = true;
      this.heard(this.desk.page.state());
    }, "strong walk-go");
    const why = missing || this.busyWords() || (known.proposal !== null && this.walk !== "check" ? words("commissioning-waits") : "");
    go.disabled = why !== "" || (this.walk !== "check" && known.sensor === "");
    return made("div", "walk-acts", go, ...(why === "" ? [] : [made("p", "walk-why", why)]));
  }

  /** @param {Commissioning} known @param {StepName} step */
  step(known, step) {
    const line = this.line(known);
    if (line === undefined) return [];
    const taken = new Set(known.steps.filter((one) => one.made_at !== "").map((one) => one.step));
    const missing = missingBefore(line, taken);
    if (line.made_at === "") return [made("p", "walk-status", words("commissioning-never")), this.goOn(words("commissioning-take"), known, missing)];
    const age = made("p", "walk-status", words("commissioning-taken", { when: momentText(line.made_at) }), " · ", words("commissioning-age", { days: ageDays(known, step) ?? 0 }));
    const old = isTooOld(known, step) ? [made("p", "walk-why", words("commissioning-old"))] : [];
    const about = made("p", "teach", words("commissioning-figures-about"), " ", words("commissioning-frames-in", { recording: line.recording }));
    return [age, ...old, this.goOn(words("commissioning-take-again"), known, missing), figuresTable(line.figures), this.drawn(step, false), about];
  }

  /** @param {StepName} step @param {boolean} proposed */
  drawn(step, proposed) {
    this.curve = new StepCurve(step, proposed);
    return this.curve.place;
  }

  /** @param {Commissioning} known */
  check(known) {
    const [last, ...before] = known.checks;
    const go = this.goOn(last === undefined ? words("commissioning-make-check") : words("commissioning-check-again"), known);
    if (last === undefined) return [made("p", "walk-status", words("commissioning-check-none")), go];
    const earlier = before.length === 0 ? [] : [made("h3", "", words("commissioning-checks-before")), made("ul", "checks-before", ...before.map(earlierCheck))];
    return [verdict(last), ...(last.passed ? [] : [made("p", "walk-why", words("commissioning-put-right"))]), go, checkItems(last.items, true), ...earlier];
  }

  /** @param {Commissioning} known */
  result(known) {
    const found = known.proposal;
    if (found === null) return [];
    const keep = button(words("commissioning-keep"), () => void this.desk.keep(keep), "strong");
    const discard = button(words("commissioning-discard"), () => this.desk.askDiscard());
    return [
      made("h2", "", words("commissioning-result", { step: nameOf(found.step) })),
      made("p", "walk-about", words("commissioning-keep-why")),
      made("div", "walk-acts decide", keep, discard),
      figuresTable(found.figures, found.before),
      this.drawn(found.step, true),
      made("p", "teach", words("commissioning-figures-about")),
    ];
  }
}

/** @param {CheckRecord} record */
function verdict({ passed, made_at }) {
  const word = made("strong", "verdict-word", passed ? words("commissioning-passed") : words("commissioning-failed"));
  const one = made("p", "verdict", word, made("span", "", words("commissioning-check-made", { when: momentText(made_at) })));
  one.classList.toggle("failed", !passed);
  return one;
}

/** @param {CheckRecord} record */
function earlierCheck({ passed, made_at, items }) {
  const failed = items.filter((one) => !one.passed).length;
  const word = made("strong", "", passed ? words("commissioning-passed") : words("commissioning-failed"));
  return made("li", "", word, made("span", "", momentText(made_at)), ...(failed === 0 ? [] : [made("span", "", items.filter((one) => !one.passed).map((one) => itemName(one.name)).join(", "))]));
}

/** @param {StepName[]} steps */
export function lacksWords(steps) {
  return steps.length === 0 ? "" : words("commissioning-lacks", { steps: stepNames(steps) });
}
