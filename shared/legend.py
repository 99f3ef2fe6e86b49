"""The legend beneath a still: what the colours, lines and patterns mean, in numbers and words."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from shared.colour import PercentColours
from shared.live_picture import DARK_STROKE, LIGHT_STROKE, dash_pattern, dot_pattern, stripe_pattern
from shared.papers.font import paper_font, wrapped
from shared.papers.words import ENGLISH, Words

BACKGROUND = (18, 20, 24)
INK = (236, 238, 240)
QUIET = (186, 190, 196)
SCALE_GREY = 40.0
"""Luma of the grey that the colour scale is laid over, as in a dark part of the picture."""


@dataclass(frozen=True)
class Legend:
    """What to explain. ``reference`` names the region that counts as 100 %; ``has_percent`` is false for a grey picture;
    ``widest_u_percent`` is the standard uncertainty above which a percentage is not shown.
    """

    full_scale_percent: float
    opacity: float
    contours_percent: tuple[float, ...]
    reference: str
    has_percent: bool
    baseline: bool = False
    widest_u_percent: float = 5.0
    words: Words = ENGLISH


def with_legend(picture: Image.Image, legend: Legend) -> Image.Image:
    """The picture with the legend beneath it, RGB; at least 640 pixels wide so that the words can be read."""
    width = max(picture.width, 640)
    below = drawn_legend(width, legend)
    whole = Image.new("RGB", (width, picture.height + below.height), BACKGROUND)
    whole.paste(picture, ((width - picture.width) // 2, 0))
    whole.paste(below, (0, picture.height))
    return whole


def drawn_legend(width: int, legend: Legend) -> Image.Image:
    """The legend alone, ``width`` pixels wide."""
    unit = max(width / 64.0, 14.0)
    large, small = paper_font(round(unit * 1.1)), paper_font(round(unit * 0.85))
    margin, words = round(unit * 1.5), legend.words
    image = Image.new("RGB", (width, round(unit * 40)), BACKGROUND)
    draw = ImageDraw.Draw(image)
    y = margin
    if legend.has_percent:
        title = words("percent-of-dye" if legend.baseline else "percent-of", reference=legend.reference)
        y = _text(draw, margin, y, width - 2 * margin, title, large, INK)
        y = _scale(image, draw, margin, y, width - 2 * margin, unit, legend, small)
    else:
        y = _text(draw, margin, y, width - 2 * margin, words("grey"), large, INK)
    y = _marks(image, draw, margin, y, unit, legend, small)
    for line in (words("caution-relative"), words("caution-certified")):
        y = _text(draw, margin, y, width - 2 * margin, line, small, QUIET)
    return image.crop((0, 0, width, y + margin // 2))


def _text(
    draw: ImageDraw.ImageDraw,
    left: int,
    top: int,
    width: int,
    text: str,
    font: ImageFont.FreeTypeFont,
    ink: tuple[int, int, int],
) -> int:
    """As many lines as it needs; returns where the next thing goes."""
    for part in wrapped(text, font, width):
        draw.text((left, top), part, ink, font=font)
        top += round(font.size * 1.6)
    return top


def _scale(
    image: Image.Image,
    draw: ImageDraw.ImageDraw,
    left: int,
    top: int,
    width: int,
    unit: float,
    legend: Legend,
    font: ImageFont.FreeTypeFont,
) -> int:
    """Colour bar as it looks over dark grey, with contours and numbers; returns where the next thing goes."""
    bar = round(unit * 1.6)
    percent = np.linspace(0.0, legend.full_scale_percent, width)
    colours = PercentColours(legend.full_scale_percent, legend.opacity)
    luma = SCALE_GREY + colours.opacity_at(percent) * (colours.luma(percent) - SCALE_GREY)
    planes = np.stack([luma, *colours.chroma(percent)], axis=-1)
    rows = np.rint(planes).astype(np.uint8)[None].repeat(bar, axis=0)
    image.paste(Image.fromarray(rows, "YCbCr").convert("RGB"), (left, top))
    for contour in legend.contours_percent:
        if contour <= legend.full_scale_percent:
            x = left + round(contour / legend.full_scale_percent * (width - 1))
            stroke = max(round(unit / 8), 1)
            draw.rectangle((x - stroke, top, x - 1, top + bar - 1), (DARK_STROKE,) * 3)
            draw.rectangle((x, top, x + stroke - 1, top + bar - 1), (LIGHT_STROKE,) * 3)
    step = 20 if legend.full_scale_percent <= 120 else 40
    for number in range(0, int(legend.full_scale_percent) + 1, step):
        x = left + round(number / legend.full_scale_percent * (width - 1))
        draw.line((x, top + bar, x, top + bar + round(unit * 0.4)), INK, max(round(unit / 12), 1))
        text = f"{number} %" if number else "0"
        length = draw.textlength(text, font=font)
        at = min(max(x - length / 2, left), left + width - length)
        draw.text((at, top + bar + round(unit * 0.45)), text, INK, font=font)
    return top + bar + round(unit * 2.4)


def _marks(
    image: Image.Image,
    draw: ImageDraw.ImageDraw,
    left: int,
    top: int,
    unit: float,
    legend: Legend,
    font: ImageFont.FreeTypeFont,
) -> int:
    """Patterns and strokes with their words, one a line; returns where the next thing goes."""
    size = (round(unit * 4), round(unit * 1.4))
    blocks = (size[1] // 2 + 1, size[0] // 2 + 1)
    words = legend.words
    lines = [(_swatch(stripe_pattern(blocks), size), words("stripes"))]
    if legend.has_percent:
        points = words.number(1.96 * legend.widest_u_percent, ".0f")
        for ink, text in ((dot_pattern(blocks), words("dots")), (dash_pattern(blocks), words("dashes", points=points))):
            grey = np.where(ink > 0, ink, round(SCALE_GREY)).astype(np.uint8)
            lines.append((_swatch(grey, size), text))
        if legend.contours_percent:
            levels = ", ".join(f"{words.number(level, 'g')} %" for level in legend.contours_percent)
            lines.append((_stroke(size), words("lines", levels=levels)))
    at = left + size[0] + round(unit * 0.8)
    for swatch, text in lines:
        image.paste(swatch, (left, top))
        below = _text(draw, at, top, image.width - left - at, text, font, INK)
        top = max(below, top + size[1]) + round(unit * 0.4)
    return top + round(unit * 0.3)


def _swatch(blocks: NDArray[np.uint8], size: tuple[int, int]) -> Image.Image:
    pixels = blocks.repeat(2, axis=0).repeat(2, axis=1)[: size[1], : size[0]]
    return Image.fromarray(np.ascontiguousarray(pixels)).convert("RGB")


def _stroke(size: tuple[int, int]) -> Image.Image:
    image = Image.new("RGB", size, (90, 90, 90))
    draw = ImageDraw.Draw(image)
    middle = size[1] // 2
    draw.rectangle((0, middle - 2, size[0], middle - 1), (LIGHT_STROKE,) * 3)
    draw.rectangle((0, middle, size[0], middle + 1), (DARK_STROKE,) * 3)
    return image
