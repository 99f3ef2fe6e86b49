import { element } from "./element.js";

/** Everything that is one touch away: one sheet at a time beside the picture, never over status and actions. */
export class Sheets {
  constructor() {
    /** @type {Map<string, () => void>} what to do when the sheet of that id opens */
    this.opened = new Map();
    /** @type {Element | null} what opened the sheet that is open */
    this.opener = null;
    for (const opener of document.querySelectorAll("[data-sheet]")) {
      const id = opener.getAttribute("data-sheet") ?? "";
      opener.setAttribute("aria-controls", id);
      opener.setAttribute("aria-expanded", "false");
      opener.addEventListener("click", () => this.toggle(id, opener));
    }
    for (const sheet of document.querySelectorAll(".sheet")) {
      sheet.querySelector(".close")?.addEventListener("click", () => this.closeAll());
      sheet.addEventListener("keydown", (event) => {
        if (event instanceof KeyboardEvent && event.key === "Escape") this.closeAll();
      });
    }
  }

  /**
   * @param {string} id
   * @param {() => void} run
   */
  whenOpened(id, run) {
    this.opened.set(id, run);
  }

  /**
   * @param {string} id
   * @param {Element} opener
   */
  toggle(id, opener) {
    if (element(id).hidden) this.open(id, opener);
    else this.closeAll();
  }

  /**
   * @param {string} id
   * @param {Element | null} opener where the focus goes back to
   */
  open(id, opener = document.activeElement) {
    this.closeAll();
    element(id).hidden = false;
    this.opener = opener;
    this.expand(id, true);
    element(id).querySelector("button")?.focus({ preventScroll: true });
    this.opened.get(id)?.();
  }

  closeAll() {
    for (const sheet of document.querySelectorAll(".sheet")) {
      if (!(sheet instanceof HTMLElement) || sheet.hidden) continue;
      const held = sheet.contains(document.activeElement);
      sheet.hidden = true;
      this.expand(sheet.id, false);
      if (held && this.opener instanceof HTMLElement) this.opener.focus({ preventScroll: true });
    }
  }

  /**
   * @param {string} id
   * @param {boolean} open
   */
  expand(id, open) {
    for (const opener of document.querySelectorAll(`[data-sheet="${id}"]`)) opener.setAttribute("aria-expanded", String(open));
  }
}
