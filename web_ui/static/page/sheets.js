import { element } from "./element.js";

/** Everything that is one touch away: one sheet at a time beside the picture, never over status and actions. */
export class Sheets {
  /** @param {Record<string, () => void>} opened what to do when the sheet of that id opens */
  constructor(opened) {
    this.opened = opened;
    for (const opener of document.querySelectorAll("[data-sheet]")) {
      const id = opener.getAttribute("data-sheet") ?? "";
      opener.setAttribute("aria-controls", id);
      opener.setAttribute("aria-expanded", "false");
      opener.addEventListener("click", () => this.toggle(id));
    }
    for (const sheet of document.querySelectorAll(".sheet")) {
      sheet.querySelector(".close")?.addEventListener("click", () => this.closeAll());
      sheet.addEventListener("keydown", (event) => {
        if (event instanceof KeyboardEvent && event.key === "Escape") this.closeAll();
      });
    }
  }

  /** @param {string} id */
  toggle(id) {
    if (element(id).hidden) this.open(id);
    else this.closeAll();
  }

  /** @param {string} id */
  open(id) {
    this.closeAll();
    element(id).hidden = false;
    this.opener(id)?.setAttribute("aria-expanded", "true");
    element(id).querySelector("button")?.focus({ preventScroll: true });
    this.opened[id]?.();
  }

  closeAll() {
    for (const sheet of document.querySelectorAll(".sheet")) {
      if (!(sheet instanceof HTMLElement) || sheet.hidden) continue;
      const held = sheet.contains(document.activeElement);
      sheet.hidden = true;
      const opener = this.opener(sheet.id);
      opener?.setAttribute("aria-expanded", "false");
      if (held && opener instanceof HTMLElement) opener.focus({ preventScroll: true });
    }
  }

  /** @param {string} id */
  opener(id) {
    return document.querySelector(`[data-sheet="${id}"]`);
  }
}
