"""What axe-core finds at WCAG 2.2 AA in the page as it stands on the screen. The same rules for every place."""

from pathlib import Path
from typing import Any

from playwright.sync_api import Page

AXE = Path(__file__).resolve().parents[3] / "web_ui" / "node_modules" / "axe-core" / "axe.min.js"
STANDARDS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice"]
RUN = "(only) => axe.run(document, {resultTypes: ['violations'], runOnly: {type: 'tag', values: only}})"


def axe_finds(page: Page) -> list[str]:
    """One line for each element that breaks a rule: the rule, what axe says of it, and the element."""
    if not page.evaluate("() => 'axe' in window"):
        assert AXE.exists(), f"{AXE} is missing; run: make javascript"
        page.evaluate(AXE.read_text())  # by the driver: the page's own policy lets no foreign script in
    found: dict[str, Any] = page.evaluate(RUN, STANDARDS)
    return [
        f"{rule['id']}: {node['failureSummary']} {node['html'][:200]}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]
