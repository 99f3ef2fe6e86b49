"""The colours of percent for the page's legend, from the same table as the picture."""

from typing import Any

from shared.colour import CLEAR_PERCENT, COVERED_PERCENT, VIRIDIS


def percent_colours() -> dict[str, Any]:
    """``colours`` (256 lists of red, green, blue from nothing to full scale), and between which percentages the map fades in."""
    return {"colours": VIRIDIS.tolist(), "clear_percent": CLEAR_PERCENT, "covered_percent": COVERED_PERCENT}
