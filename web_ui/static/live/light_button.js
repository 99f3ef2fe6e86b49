/** @import { Acts } from "../page/acts.js" */
/** @import { DeviceState } from "../page/device_state.js" */

import { ask, Watching } from "../page/device_api.js";
import { element } from "../page/element.js";
import { words } from "../page/words.js";
import { LightHold } from "./light_hold.js";

/** The Light button: light while held (or switched by a touch where settings say so); leaves `tripped` by one press of its own. */
export class LightButton {
  /**
   * @param {Acts} acts
   * @param {() => DeviceState | null} state
   */
  constructor(acts, state) {
    this.acts = acts;
    this.state = state;
    this.button = element("act-light");
    this.rearmed = false;
    this.byKey = false;
    this.hold = new LightHold({
      send: async (act, press, signal) =>
        void (await ask("POST", "/light", { act, press }, { signal, keepalive: act === "off" })),
      repeat: (run, ms) => {
        const timer = setInterval(run, ms);
        return () => clearInterval(timer);
      },
      failed: (error) => this.failed(error),
      unanswered: () => this.acts.line.say(words("page-no-answer")),
      ended: () => this.button.classList.remove("held"),
    });
    this.listen();
    element("act-brighter").onclick = (event) => this.step("brighter", event);
    element("act-dimmer").onclick = (event) => this.step("dimmer", event);
  }

  listen() {
    const { button } = this;
    button.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      button.setPointerCapture(event.pointerId);
      this.press();
    });
    for (const event of ["pointerup", "pointercancel", "lostpointercapture"]) {
      button.addEventListener(event, () => this.release());
    }
    // a key's release is heard only while the button has the focus; a finger's always
    button.addEventListener("blur", () => {
      if (this.byKey) this.release();
    });
    button.addEventListener("contextmenu", (event) => event.preventDefault());
    button.addEventListener("keydown", (event) => {
      if (event.key !== " " && event.key !== "Enter") return;
      event.preventDefault();
      if (event.repeat) return;
      this.byKey = true;
      this.press();
    });
    button.addEventListener("keyup", (event) => {
      if (event.key === " " || event.key === "Enter") this.release();
    });
    for (const event of ["blur", "pagehide", "freeze"]) addEventListener(event, () => this.release());
    document.addEventListener("visibilitychange", () => this.release());
  }

  press() {
    const state = this.state();
    if (state?.light.state === "tripped") {
      this.rearmed = true;
      void this.acts.run("POST", "/light", { act: "rearm" }, this.button);
      return;
    }
    if (state !== null && state.hold_to_light === false) {
      void this.acts.run("POST", "/light", { act: state.light.wanted_on ? "off" : "on" }, this.button);
      return;
    }
    this.button.classList.add("held");
    this.hold.press();
  }

  /** A finger on a tablet that watches must not light when control comes to it: that takes a press of its own. @param {unknown} error */
  failed(error) {
    this.acts.failed(error);
    if (!(error instanceof Watching)) return;
    this.button.classList.remove("held");
    this.hold.end();
  }

  release() {
    this.rearmed = false;
    this.byKey = false;
    this.button.classList.remove("held");
    this.hold.release();
  }

  /**
   * @param {"brighter" | "dimmer"} act
   * @param {Event} event
   */
  step(act, event) {
    const pressed = event.currentTarget;
    void this.acts.run("POST", "/light", { act }, pressed instanceof Element ? pressed : undefined);
  }

  /** @param {DeviceState | null} state */
  show(state) {
    this.button.setAttribute("aria-pressed", String(state?.light.state === "lit"));
  }
}
