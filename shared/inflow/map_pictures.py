"""Maps as pictures: colour where something was measured, laid over grey; patterns and no colour elsewhere; a legend in numbers."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from shared.calibration import Calibration
from shared.colour import VIRIDIS
from shared.frame import Frame
from shared.inflow.map_values import CLASS_WORDS, MEASURED, NO_RISE, SATURATED, UNCERTAIN, InflowMaps, Parameter
from shared.legend import BACKGROUND, CAUTION, INK, QUIET
from shared.live_picture import block_means, dash_pattern, dot_pattern, stripe_pattern
from shared.signal import DefectSources, corrected_counts

F32 = NDArray[np.float32]
Bytes = NDArray[np.uint8]

_OPACITY = 0.8
_GREY_TOP = 170.0
_TITLES = {
    "baseline_counts_per_ms": "Signal before the dye, counts a millisecond",
    "peak_relative_percent": "Peak, percent of the reference's peak",
    "relative_percent_at_reference_peak": "Level at the reference's peak, percent of it",
    "arrival_s": "Arrival, seconds since {since}",
    "time_to_peak_s": "From arrival to the peak, seconds",
    "half_rise_s": "From arrival to half of the peak, seconds",
    "ingress_slope_percent_per_s": "Steepest rise, percent of the reference's peak a second",
    "washout_half_life_s": "Washout half-life, seconds",
}


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


def drawn_map(maps: InflowMaps, parameter: Parameter, grey: Bytes) -> Image.Image:
    """The map with its legend beneath, RGB, two pixels a bin."""
    values, _, classes = maps.of(parameter.name)
    scale = scale_of(values, parameter)
    picture = coloured(values, classes, grey, scale).repeat(2, axis=0).repeat(2, axis=1)
    legend = _legend(max(picture.shape[1], 640), maps, parameter, scale)
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


def _legend(width: int, maps: InflowMaps, parameter: Parameter, scale: Scale) -> Image.Image:
    unit = max(width / 64.0, 14.0)
    words, small = ImageFont.load_default(size=unit * 1.15), ImageFont.load_default(size=unit * 0.95)
    margin, bar = round(unit * 1.5), round(unit * 1.6)
    image = Image.new("RGB", (width, round(unit * 24)), BACKGROUND)
    draw = ImageDraw.Draw(image)
    title = _TITLES[parameter.name].format(since="injection" if maps.about.injected else "the first frame")
    draw.text((margin, margin), title, INK, font=words)
    top, across = margin + round(unit * 2), width - 2 * margin
    ramp = VIRIDIS[np.rint(np.linspace(0, 255, across)).astype(np.intp)] * _OPACITY + (1.0 - _OPACITY) * 40.0
    image.paste(Image.fromarray(np.rint(ramp).astype(np.uint8)[None].repeat(bar, axis=0)), (margin, top))
    for number in np.arange(scale.low, scale.high + scale.step / 2, scale.step):
        x = margin + round(float(number - scale.low) / (scale.high - scale.low) * (across - 1))
        draw.line((x, top + bar, x, top + bar + round(unit * 0.4)), INK, 1)
        text = f"{number:g} {parameter.unit}"
        at = min(
            max(x - draw.textlength(text, font=small) / 2, margin), width - margin - draw.textlength(text, font=small)
        )
        draw.text((at, top + bar + round(unit * 0.45)), text, INK, font=small)
    y = top + bar + round(unit * 2.2)
    for one, pattern in ((SATURATED, stripe_pattern), (NO_RISE, dot_pattern), (UNCERTAIN, dash_pattern)):
        luma = pattern((round(unit * 0.7), round(unit * 2)))
        swatch = np.where(luma > 0, luma, 40).astype(np.uint8).repeat(2, axis=0).repeat(2, axis=1)
        image.paste(Image.fromarray(swatch).convert("RGB"), (margin, y))
        draw.text((margin + round(unit * 4.8), y), CLASS_WORDS[one], INK, font=small)
        y += round(unit * 1.9)
    lines = [f"100 %: the peak of {maps.about.reference.split(':')[0]}"] if maps.about.reference else []
    for line in (
        *lines,
        "values beyond the numbers have the colour of that end; grey without a pattern: not seen",
        *maps.about.notes,
        *CAUTION,
    ):
        draw.text((margin, y), line, QUIET, font=small)
        y += round(unit * 1.4)
    return image.crop((0, 0, width, min(y + margin // 2, image.height)))
