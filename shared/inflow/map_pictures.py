"""Maps as pictures: colour where something was measured, laid over grey; patterns and no colour elsewhere; a legend in numbers."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from shared.calibration import Calibration
from shared.colour import VIRIDIS
from shared.frame import Frame
from shared.inflow.map_values import CLASS_WORDS, MEASURED, NO_RISE, SATURATED, UNCERTAIN, InflowMaps, Parameter
from shared.legend import BACKGROUND, INK, QUIET
from shared.live_picture import block_means, dash_pattern, dot_pattern, stripe_pattern
from shared.papers.font import paper_font, wrapped
from shared.papers.words import ENGLISH, Words
from shared.signal import DefectSources, corrected_counts

F32 = NDArray[np.float32]
Bytes = NDArray[np.uint8]

_OPACITY = 0.8
_GREY_TOP = 170.0


@dataclass(frozen=True)
class Scale:
    """What the ends of the colours stand for, and the step between numbers beneath them."""

    low: float
    high: float
    step: float


def grey_beneath(frame: Frame, calibration: Calibration) -> Bytes:
    """One frame as the picture beneath, (height, width) of the maps: corrected, binned, brightened by its root."""
    counts = corrected_counts(frame.pixels, calibration, DefectSources.around(calibration.defects))
    height, width = (side // 2 for side in counts.shape)
    level = np.sqrt(np.maximum(block_means(counts[: 2 * height, : 2 * width]), 0.0))
    top = max(float(np.quantile(level, 0.995)), 1e-6)
    return np.asarray(np.minimum(level / top, 1.0) * _GREY_TOP, np.uint8)


def scale_of(values: F32, parameter: Parameter) -> Scale:
    """Round ends: 0 to at least 100 for percent of the reference, else as far as all but 2 % of the values at either side reach."""
    known = values[np.isfinite(values)]
    if not known.size:
        return Scale(0.0, 1.0, 0.5)
    low, high = (float(end) for end in np.quantile(known, (0.02, 0.98)))
    if parameter.unit == "%":
        low, high = 0.0, max(high, 100.0)
    elif parameter.name != "washout_half_life_s":
        low = min(low, 0.0)
    step = _round_step((high - low) / 5.0)
    first = math.floor(low / step + 1e-9) * step
    return Scale(first, max(math.ceil(high / step - 1e-9) * step, first + step), step)


def drawn_map(maps: InflowMaps, parameter: Parameter, grey: Bytes, words: Words = ENGLISH) -> Image.Image:
    """The map with its legend beneath, RGB, two pixels a bin."""
    values, _, classes = maps.of(parameter.name)
    scale = scale_of(values, parameter)
    picture = coloured(values, classes, grey, scale).repeat(2, axis=0).repeat(2, axis=1)
    legend = _legend(max(picture.shape[1], 640), maps, parameter, scale, words)
    whole = Image.new("RGB", (legend.width, picture.shape[0] + legend.height), BACKGROUND)
    whole.paste(Image.fromarray(picture), ((legend.width - picture.shape[1]) // 2, 0))
    whole.paste(legend, (0, picture.shape[0]))
    return whole


def _round_step(wanted: float) -> float:
    power = 10.0 ** math.floor(math.log10(max(wanted, 1e-9)))
    return next(step * power for step in (1.0, 2.0, 2.5, 5.0, 10.0) if step * power >= wanted - 1e-12)


def coloured(values: F32, classes: Bytes, grey: Bytes, scale: Scale) -> Bytes:
    """The map alone, (height, width, 3) RGB, one pixel a bin."""
    picture = np.repeat(grey[..., None], 3, axis=2).astype(np.float32)
    measured = classes == MEASURED
    at = np.nan_to_num((values - scale.low) / (scale.high - scale.low))
    colours = VIRIDIS[np.clip(np.rint(at * 255.0), 0, 255).astype(np.intp)]
    picture[measured] = (1.0 - _OPACITY) * picture[measured] + _OPACITY * colours[measured]
    for one, pattern in ((SATURATED, stripe_pattern), (NO_RISE, dot_pattern), (UNCERTAIN, dash_pattern)):
        luma = pattern(classes.shape)
        marked = (classes == one) & (luma > 0)
        picture[marked] = luma[marked][:, None]
    return np.rint(picture).astype(np.uint8)


def _legend(width: int, maps: InflowMaps, parameter: Parameter, scale: Scale, words: Words) -> Image.Image:
    unit = max(width / 64.0, 14.0)
    large, small = paper_font(round(unit * 1.1)), paper_font(round(unit * 0.85))
    margin, bar = round(unit * 1.5), round(unit * 1.6)
    image = Image.new("RGB", (width, round(unit * 40)), BACKGROUND)
    draw = ImageDraw.Draw(image)
    since = words("since-injection" if maps.about.injected else "since-first-frame")
    draw.text((margin, margin), words(f"map-{parameter.name}", since=since), INK, font=large)
    top, across = margin + round(unit * 2), width - 2 * margin
    ramp = VIRIDIS[np.rint(np.linspace(0, 255, across)).astype(np.intp)] * _OPACITY + (1.0 - _OPACITY) * 40.0
    image.paste(Image.fromarray(np.rint(ramp).astype(np.uint8)[None].repeat(bar, axis=0)), (margin, top))
    unit_words = words("map-counts-unit") if parameter.unit == "counts/ms" else parameter.unit
    for number in np.arange(scale.low, scale.high + scale.step / 2, scale.step):
        x = margin + round(float(number - scale.low) / (scale.high - scale.low) * (across - 1))
        draw.line((x, top + bar, x, top + bar + round(unit * 0.4)), INK, 1)
        text = f"{words.number(float(number), 'g')} {unit_words}"
        at = min(
            max(x - draw.textlength(text, font=small) / 2, margin), width - margin - draw.textlength(text, font=small)
        )
        draw.text((at, top + bar + round(unit * 0.45)), text, INK, font=small)
    y = top + bar + round(unit * 2.2)
    for one, pattern in ((SATURATED, stripe_pattern), (NO_RISE, dot_pattern), (UNCERTAIN, dash_pattern)):
        luma = pattern((round(unit * 0.7), round(unit * 2)))
        swatch = np.where(luma > 0, luma, 40).astype(np.uint8).repeat(2, axis=0).repeat(2, axis=1)
        image.paste(Image.fromarray(swatch).convert("RGB"), (margin, y))
        for line in wrapped(words.said(CLASS_WORDS[one]), small, width - 2 * margin - round(unit * 4.8)):
            draw.text((margin + round(unit * 4.8), y), line, INK, font=small)
            y += round(unit * 1.4)
        y += round(unit * 0.5)
    hundred = [words("map-hundred", reference=maps.about.reference.split(":")[0])] if maps.about.reference else []
    notes = (words.said(note) for note in maps.about.notes_on(parameter.name))
    for text in (*hundred, words("map-beyond"), *notes, words("caution-relative"), words("caution-certified")):
        for line in wrapped(text, small, width - 2 * margin):
            draw.text((margin, y), line, QUIET, font=small)
            y += round(unit * 1.4)
    return image.crop((0, 0, width, min(y + margin // 2, image.height)))
