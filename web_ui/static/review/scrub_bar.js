import { button, element, write } from "../page/element.js";
import { numberText } from "../page/number_text.js";
import { words } from "../page/words.js";
import { Playback, SPEEDS } from "./playback.js";

/** A finger that rested so long wants the whole picture. */
const REST_MS = 180;

/** Time of the recording under a finger: a bar to scrub along, play at two speeds, and single steps. */
export class ScrubBar {
  /** @param {(at_s: number, resting: boolean) => void} moved */
  constructor(moved) {
    this.moved = moved;
    this.bar = element("review-time", HTMLInputElement);
    this.play = element("review-play", HTMLButtonElement);
    this.clock = element("review-clock");
    this.playback = new Playback(0);
    this.interval_s = 1 / 30;
    /** @type {number | null} */
    this.injected_at_s = null;
    this.turn = 0;
    this.rest = 0;
    this.bar.addEventListener("input", () => this.go(Number(this.bar.value)));
    this.play.onclick = () => this.toggle();
    element("review-back").onclick = () => this.step(-1);
    element("review-forward").onclick = () => this.step(1);
    this.speeds = SPEEDS.map((speed) => button(`${speed}×`, () => this.setSpeed(speed)));
    element("review-speeds").replaceChildren(...this.speeds);
    this.showSpeed();
  }

  /**
   * @param {{seconds: number, frame_interval_s: number, injected_at_s: number | null}} recording
   * @param {number} at_s
   */
  show({ seconds, frame_interval_s, injected_at_s }, at_s) {
    const last_s = Math.max(seconds - frame_interval_s, 0);
    this.playback = new Playback(last_s);
    this.interval_s = frame_interval_s;
    this.injected_at_s = injected_at_s;
    this.bar.max = String(last_s);
    this.bar.step = String(frame_interval_s);
    this.go(at_s);
  }

  /** @param {number} at_s */
  go(at_s) {
    this.playback.go(performance.now(), at_s);
    this.tell();
  }

  /** @param {number} steps */
  step(steps) {
    this.stop();
    this.go(this.playback.at_s + steps * this.interval_s);
  }

  toggle() {
    if (this.playback.playing) this.stop();
    else {
      this.playback.play(performance.now());
      this.turn = requestAnimationFrame(() => this.look());
      this.tell();
    }
  }

  stop() {
    cancelAnimationFrame(this.turn);
    const played = this.playback.playing;
    this.playback.pause(performance.now());
    if (played) this.tell();
  }

  look() {
    this.playback.look(performance.now());
    this.tell();
    if (this.playback.playing) this.turn = requestAnimationFrame(() => this.look());
  }

  /** @param {number} speed */
  setSpeed(speed) {
    this.playback.setSpeed(performance.now(), speed);
    this.showSpeed();
  }

  showSpeed() {
    this.speeds.forEach((one, index) => one.setAttribute("aria-pressed", String(SPEEDS[index] === this.playback.speed)));
  }

  /** Say where it is: quickly while it moves, and once more when it rests. */
  tell() {
    const { at_s, playing } = this.playback;
    this.bar.value = String(at_s);
    write(this.clock, this.clockText(at_s));
    this.bar.setAttribute("aria-valuetext", this.clockText(at_s));
    write(this.play, playing ? words("review-pause") : words("review-play"));
    clearTimeout(this.rest);
    this.moved(at_s, false);
    if (!playing) this.rest = window.setTimeout(() => this.moved(at_s, true), REST_MS);
  }

  /** @param {number} at_s */
  clockText(at_s) {
    const seconds = numberText(at_s, 1);
    if (this.injected_at_s === null) return words("review-clock", { seconds });
    const since = at_s - this.injected_at_s;
    if (since < 0) return words("review-clock-before", { seconds, before: numberText(-since, 1) });
    return words("review-clock-since", { seconds, since: numberText(since, 1) });
  }

  close() {
    this.stop();
    clearTimeout(this.rest);
  }
}
