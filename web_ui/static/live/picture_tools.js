/** @import { PictureZoom } from "../picture/picture_zoom.js" */

import { element, write } from "../page/element.js";
import { numberText, withUnit } from "../page/number_text.js";
import { ZOOM_STEP } from "../picture/picture_finger.js";

/** Closer, further, all of it, and the whole screen: for fingers that cannot pinch, and by key. */
export class PictureTools {
  /** @param {PictureZoom} zoom */
  constructor(zoom) {
    this.zoom = zoom;
    this.tools = element("tools");
    this.opener = element("tools-open");
    this.whole = element("zoom-whole");
    this.closer = element("zoom-closer", HTMLButtonElement);
    this.further = element("zoom-further", HTMLButtonElement);
    this.opener.onclick = () => this.open(Boolean(this.tools.hidden));
    this.closer.onclick = () => zoom.closer(ZOOM_STEP ** 2);
    this.further.onclick = () => zoom.closer(ZOOM_STEP ** -2);
    this.whole.onclick = () => zoom.whole();
    const screen = element("full-screen");
    screen.hidden = !document.fullscreenEnabled;
    screen.onclick = () => void this.fullScreen();
    document.addEventListener("fullscreenchange", () => screen.setAttribute("aria-pressed", String(document.fullscreenElement !== null)));
    this.show();
  }

  /** @param {boolean} open */
  open(open) {
    this.tools.hidden = !open;
    this.opener.setAttribute("aria-expanded", String(open));
  }

  async fullScreen() {
    try {
      if (document.fullscreenElement === null) await document.documentElement.requestFullscreen({ navigationUI: "hide" });
      else await document.exitFullscreen();
    } catch {
      element("full-screen").hidden = true; // a browser that promises it and then refuses: nothing is lost
    }
  }

  /** What is shown changed: how close it is stands on the picture as long as it is not all of it. */
  show() {
    const { factor } = this.zoom;
    this.whole.hidden = this.zoom.window === null;
    write(element("zoom-factor"), withUnit(numberText(factor, 1), "×"));
    this.closer.disabled = this.zoom.closest;
    this.further.disabled = this.zoom.window === null;
  }
}
