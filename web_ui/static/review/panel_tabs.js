/** Panels of which one is seen, chosen by tabs; arrow keys go along them (ARIA Authoring Practices, tabs). */
export class PanelTabs {
  /** @param {HTMLElement} list */
  constructor(list) {
    this.tabs = [...list.querySelectorAll("[role=tab]")].filter((tab) => tab instanceof HTMLElement);
    for (const tab of this.tabs) {
      tab.addEventListener("click", () => this.choose(tab));
      tab.addEventListener("keydown", (event) => this.key(event, tab));
    }
    const [first] = this.tabs;
    if (first) this.choose(first);
  }

  /** @param {HTMLElement} chosen */
  choose(chosen) {
    for (const tab of this.tabs) {
      const is = tab === chosen;
      tab.setAttribute("aria-selected", String(is));
      tab.tabIndex = is ? 0 : -1;
      const panel = document.getElementById(tab.getAttribute("aria-controls") ?? "");
      if (panel) panel.hidden = !is;
    }
  }

  /** @param {KeyboardEvent} event @param {HTMLElement} tab */
  key(event, tab) {
    const way = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (way === undefined) return;
    event.preventDefault();
    const next = this.tabs.at((this.tabs.indexOf(tab) + way) % this.tabs.length);
    if (next === undefined) return;
    this.choose(next);
    next.focus();
  }
}
