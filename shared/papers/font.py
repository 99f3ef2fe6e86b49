"""The letters of pictures that are kept: DejaVu Sans, which has those of every language spoken here; and lines that fit."""

from collections.abc import Sequence
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from PIL import ImageFont


@cache
def paper_font(size_px: int) -> ImageFont.FreeTypeFont:
    """That size in pixels. Pillow's own has no umlauts and no accents; this one comes with matplotlib, which is not imported."""
    found = find_spec("matplotlib")
    if found is None or not found.submodule_search_locations:
        raise ModuleNotFoundError("matplotlib, which brings the letters of legends, is not installed")
    file = Path(found.submodule_search_locations[0], "mpl-data", "fonts", "ttf", "DejaVuSans.ttf")
    return ImageFont.truetype(file, size_px)


def wrapped(text: str, font: ImageFont.FreeTypeFont, width_px: float) -> list[str]:
    """The text in lines no wider than that, as far as its words allow."""
    return packed(text.split(), " ", font, width_px)


def packed(parts: Sequence[str], gap: str, font: ImageFont.FreeTypeFont, width_px: float) -> list[str]:
    """Parts in lines no wider than that, as far as each allows, with ``gap`` between two of a line."""
    lines = [""]
    for part in parts:
        longer = f"{lines[-1]}{gap}{part}" if lines[-1] else part
        if font.getlength(longer) <= width_px or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(part)
    return lines
