"""Irradiance in front of a ring against distance, with the limits as lines and the shortest distance marked.

Colours of Okabe and Ito (Color Universal Design, 2008), and a line style of its own for each line, so that neither
colour-blindness nor a grey print mixes them up.
"""

import math
from pathlib import Path
from typing import TYPE_CHECKING

from device.light_limits import LightLimits
from shared.errors import Refused
from shared.optics.exposure_limits import EYE_INFRARED, RETINA, SKIN, eye_infrared_w_m2
from shared.optics.ring_hazards import hazards
from shared.optics.ring_irradiance import nearest_distance_mm

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BLUE, _GREEN, _ORANGE, _RED, _GREY = "#0072B2", "#009E73", "#E69F00", "#D55E00", "0.35"
_POINTS = 160
_TIMES_S = ((100.0, "100 s"), (10.0, "10 s"))


def draw(result: LightLimits, path: Path) -> None:
    """Write the picture; raises Refused where the name does not end in .png or .svg, or cannot be written."""
    if path.suffix.lower() not in (".png", ".svg"):
        raise Refused("not a kind of picture this draws", str(path), "let the name end in .png or .svg")
    try:
        figure(result).savefig(path, dpi=150, metadata={"Title": "tapetum light-limits"})
    except OSError as error:
        raise Refused(f"{path}: cannot be written ({error.strerror})", remedy="choose another place") from None


def figure(result: LightLimits) -> "Figure":
    """The picture as a matplotlib figure, without any display."""
    from matplotlib.figure import Figure

    made = Figure(figsize=(10, 6.5), layout="constrained")
    axes = made.subplots()
    low_mm, high_mm = _span_mm(result)
    distances_mm = [low_mm * (high_mm / low_mm) ** (number / (_POINTS - 1)) for number in range(_POINTS)]
    _draw_ring(axes, result, distances_mm)
    _draw_limits(axes, high_mm)
    _draw_shortest(axes, result, low_mm, high_mm)
    _dress(axes, result, low_mm, high_mm)
    return made


def _span_mm(result: LightLimits) -> tuple[float, float]:
    """From half the nearest distance that matters to twice the farthest."""
    matter_mm = [result.shortest_distance_mm, *(one.distance_mm for one in result.at)]
    return max(min(matter_mm) / 2, nearest_distance_mm(result.ring)), max(matter_mm) * 2


def _draw_ring(axes: "Axes", result: LightLimits, distances_mm: list[float]) -> None:
    at = [hazards(result.ring, mm) for mm in distances_mm]
    irradiance = [one.irradiance_w_m2 for one in at]
    in_band = [one * result.share_above_780_nm for one in irradiance]
    # What the same ring would have to give for its retinal image to reach the limit.
    retina = [one.irradiance_w_m2 * RETINA.continuous / one.of(RETINA) for one in at]
    axes.plot(distances_mm, irradiance, color=_BLUE, linewidth=2.5, label="this ring, all its light: this counts")
    axes.plot(distances_mm, in_band, color=_BLUE, linewidth=1.2, linestyle=":", label="this ring, above 780 nm only")
    axes.plot(
        distances_mm,
        retina,
        color=_ORANGE,
        linewidth=1.5,
        linestyle="-.",
        label="where the ring would reach the retinal limit",
    )
    for one in result.at:
        axes.plot([one.distance_mm], [one.hazards.irradiance_w_m2], "o", color=_BLUE, markersize=5)


def _draw_limits(axes: "Axes", high_mm: float) -> None:
    axes.axhline(EYE_INFRARED.continuous, color=_RED, linewidth=2, label="infrared limit of the eye, without end")
    for time_s, words in _TIMES_S:
        limit_w_m2 = eye_infrared_w_m2(time_s)
        axes.axhline(
            limit_w_m2,
            color=_RED,
            linewidth=1,
            linestyle="--",
            label="the same for 100 s, 10 s" if time_s == 100 else None,
        )
        axes.annotate(
            words,
            (high_mm, limit_w_m2),
            (-4, -3),
            textcoords="offset points",
            ha="right",
            va="top",
            fontsize=9,
            color=_RED,
        )
    axes.axhline(
        SKIN.continuous,
        color=_GREEN,
        linewidth=1.2,
        linestyle=(0, (6, 2, 1, 2)),
        label="skin, for 10 s; held for longer too",
    )


def _draw_shortest(axes: "Axes", result: LightLimits, low_mm: float, high_mm: float) -> None:
    shortest_mm = result.shortest_distance_mm
    axes.axvline(shortest_mm, color=_GREY, linewidth=1.2)
    axes.axvspan(low_mm, shortest_mm, color="0.93", zorder=0)
    right = shortest_mm < (low_mm * high_mm) ** 0.5
    axes.annotate(
        f"light need not end from {math.ceil(shortest_mm)} mm on",
        (shortest_mm, 0.02),
        (6 if right else -6, 0),
        xycoords=("data", "axes fraction"),
        textcoords="offset points",
        ha="left" if right else "right",
        color=_GREY,
    )


def _dress(axes: "Axes", result: LightLimits, low_mm: float, high_mm: float) -> None:
    from matplotlib.ticker import FixedLocator, NullLocator, StrMethodFormatter

    ring = result.ring
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlim(low_mm, high_mm)
    ticks = [decade * step for decade in (1, 10, 100, 1000, 10_000) for step in (1, 1.5, 2, 3, 5, 7)]
    axes.xaxis.set_major_locator(FixedLocator([mm for mm in ticks if low_mm <= mm <= high_mm]))
    axes.xaxis.set_minor_locator(NullLocator())
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(StrMethodFormatter("{x:g}"))
    axes.set_xlabel("distance from ring to eye or skin, mm")
    axes.set_ylabel("highest irradiance on a plane, W/m²")
    axes.set_title(
        f"{ring.leds} LEDs of {ring.full_intensity_w_sr:.3g} W/sr at {ring.wavelength_nm:g} nm, level {ring.level * 100:g} %",
        loc="left",
    )
    axes.grid(visible=True, color="0.88", linewidth=0.8)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1), frameon=False, fontsize=9, handlelength=3.2)
    axes.annotate(
        "An estimate. Goggles, local rules\nand a competent person decide.",
        (1.02, 0.0),
        xycoords="axes fraction",
        fontsize=9,
        color=_GREY,
        va="bottom",
    )
