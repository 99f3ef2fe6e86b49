"""Printable targets of commissioning, true to scale: dot grid, slanted edge, places of wells and of the even target.

Each page is drawn in millimetres from its middle, y down, and carries a ruler each way: a printer that scales is found out.
"""

import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from device.pdf_file import write_pdf
from shared.commissioning.sheet import DOT_MM, EDGE_DEG, PITCH_MM, WELL_MM, dot_places_mm, well_places_mm
from shared.errors import Refused

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAPERS_MM = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
"""Landscape: ISO 216, and ANSI/ASME Y14.1 size A."""
RULER_MM = 100.0
MARGIN_MM = 8.0
FOOT_MM = 26.0
"""Kept free below for words and ruler."""
EDGE_SIZE_MM = 80.0
_BLACK, _GREY, _MM_PER_INCH = "black", "0.45", 25.4
_CAUTION = (
    "Print at 100 %, not fitted to the page, with a laser printer on stiff, matt paper; most inkjet ink is not seen in the near\n"
    "infrared. Both rulers must measure 100 mm."
)


def pages(paper: str) -> list["Figure"]:
    """One figure a page, of the paper's size in inches."""
    return [_page(paper, *one) for one in _PAGES]


def write(path: Path, paper: str) -> None:
    """Write all pages as PDF; raises Refused where the name does not end in .pdf, or cannot be written."""
    if path.suffix.lower() != ".pdf":
        raise Refused("the sheets are one PDF", str(path), "let the name end in .pdf")
    write_pdf(path, {"Title": "tapetum target", "CreationDate": None}, pages(paper))


def _page(paper: str, title: str, words: str, draw: Callable[["Axes", float, float], None]) -> "Figure":
    from matplotlib.figure import Figure

    width, height = PAPERS_MM[paper]
    figure = Figure(figsize=(width / _MM_PER_INCH, height / _MM_PER_INCH))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(-width / 2, width / 2)
    axes.set_ylim(height / 2, -height / 2)
    axes.axis("off")
    draw(axes, width - 2 * MARGIN_MM, height - FOOT_MM - MARGIN_MM)
    _rulers(axes, width, height)
    left, foot = -width / 2 + RULER_MM + 4 * MARGIN_MM, height / 2 - FOOT_MM + 4
    axes.text(left, foot, f"tapetum target: {title}", fontsize=10, va="top", weight="bold")
    axes.text(left, foot + 5.5, f"{words}\n{_CAUTION}", fontsize=6.5, va="top", color=_BLACK, wrap=False)
    return figure


def _rulers(axes: "Axes", width: float, height: float) -> None:
    """100 mm along the foot, and up the left side."""
    x, y = -width / 2 + MARGIN_MM + 4, height / 2 - MARGIN_MM
    axes.plot([x, x + RULER_MM], [y, y], color=_BLACK, linewidth=0.8, solid_capstyle="butt")
    axes.plot([x, x], [y, y - RULER_MM], color=_BLACK, linewidth=0.8, solid_capstyle="butt")
    for step in range(11):
        long = 3.0 if step % 5 == 0 else 1.8
        axes.plot([x + 10 * step] * 2, [y, y - long], color=_BLACK, linewidth=0.8)
        axes.plot([x, x - long], [y - 10 * step] * 2, color=_BLACK, linewidth=0.8)
    axes.text(x + RULER_MM + 1.5, y, "100 mm", fontsize=7, va="center")
    axes.text(x - 1.5, y - RULER_MM - 1.5, "100 mm", fontsize=7, va="bottom", rotation=90)


def _cross(axes: "Axes", x: float = 0.0, y: float = 0.0, size: float = 4.0) -> None:
    axes.plot([x - size, x + size], [y, y], color=_GREY, linewidth=0.4)
    axes.plot([x, x], [y - size, y + size], color=_GREY, linewidth=0.4)


def _dot_grid(axes: "Axes", width: float, height: float) -> None:
    from matplotlib.patches import Circle

    for x, y in dot_places_mm(width - 16, 2 * (height / 2 - FOOT_MM / 2 + MARGIN_MM / 2)):
        axes.add_patch(Circle((x, y), DOT_MM / 2, facecolor=_BLACK, edgecolor="none"))


def _slanted_edge(axes: "Axes", width: float, height: float) -> None:
    from matplotlib.patches import Polygon

    half = EDGE_SIZE_MM / 2
    lean = math.tan(math.radians(EDGE_DEG)) * half
    axes.add_patch(
        Polygon([(-half, -half), (lean, -half), (-lean, half), (-half, half)], facecolor=_BLACK, edgecolor="none")
    )


def _even_target(axes: "Axes", width: float, height: float) -> None:
    from matplotlib.patches import Rectangle

    tall = min(height, 150.0)
    for share in (1.0, 0.75, 0.5):
        w, h = share * tall * 4 / 3, share * tall
        axes.add_patch(Rectangle((-w / 2, -h / 2), w, h, fill=False, edgecolor=_GREY, linewidth=0.5))
    _cross(axes)


def _wells(axes: "Axes", width: float, height: float) -> None:
    from matplotlib.patches import Circle

    _cross(axes)
    for number, (x, y) in enumerate(well_places_mm(), start=1):
        axes.add_patch(Circle((x, y), WELL_MM / 2, fill=False, edgecolor=_BLACK, linewidth=0.5))
        axes.text(x, y + (-1 if y < 0 else 1) * (WELL_MM / 2 + 3), f"{number}", fontsize=9, ha="center", va="center")


_PAGES = (
    (
        "dot grid",
        f"For the scale step. Dots {DOT_MM:g} mm wide, {PITCH_MM:g} mm apart: measure over ten, give --pitch-mm if they differ.\n"
        "Lay it flat; the middle dot belongs in the middle of the picture, square to the handheld, at the distance that you name.",
        _dot_grid,
    ),
    (
        "slanted edge",
        f"For the sharpness step. The edge leans by {EDGE_DEG:g} degrees (ISO 12233).\n"
        "Its middle belongs in the middle of the picture, in focus; keep other edges out of the picture's middle.",
        _slanted_edge,
    ),
    (
        "even target",
        "For the steps defects, flat, gain, light and leakage: lay the dye card, or the plain card, over this frame.\n"
        "The cross belongs in the middle of the picture; the card has to fill the picture.",
        _even_target,
    ),
    (
        "dilution row",
        f"For the sensitivity step. Eight wells, {WELL_MM:g} mm wide, in the order of their concentrations; one without dye.\n"
        "The cross belongs in the middle of the picture, at the distance of the scale step.",
        _wells,
    ),
)
