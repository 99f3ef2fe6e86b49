"""The curves of a set of parts in one picture: above what multiplies, below on a logarithmic scale what leaks.

Colours of Okabe and Ito (Color Universal Design, 2008), and a line style of its own for each curve, so that neither
colour-blindness nor a grey print mixes them up.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from shared.errors import Refused
from shared.optics.chain import Chain, rays_at
from shared.optics.parts_file import Parts
from shared.optics.spectrum import F64, WAVELENGTH_NM

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SUFFIXES = (".png", ".svg")
_LOW_NM, _HIGH_NM = 680, 950
_BLUE, _GREEN, _ORANGE, _RED, _PURPLE = "#0072B2", "#009E73", "#E69F00", "#D55E00", "#CC79A7"
_DEEPEST = 1e-7
LineStyle = str | tuple[int, tuple[int, ...]]
_DASH_DOT_DOT = (0, (5, 1, 1, 1, 1, 1))


@dataclass(frozen=True, eq=False)
class Curve:
    """A line of the upper picture, on the grid of wavelengths."""

    values: F64
    label: str
    colour: str
    style: LineStyle


def draw(parts: Parts, now: Chain, path: Path) -> None:
    """Write the picture; raises Refused where the name does not end in .png or .svg, or cannot be written."""
    if path.suffix.lower() not in SUFFIXES:
        raise Refused("not a kind of picture this draws", str(path), f"let the name end in {' or '.join(SUFFIXES)}")
    made = figure(parts, now)
    try:
        made.savefig(path, dpi=150, metadata={"Title": parts.title or "tapetum parts"})
    except OSError as error:
        raise Refused(f"{path}: cannot be written ({error.strerror})", remedy="choose another place") from None


def figure(parts: Parts, now: Chain) -> "Figure":
    """The picture as a matplotlib figure, without any display."""
    from matplotlib.figure import Figure

    made = Figure(figsize=(10, 7.5), layout="constrained")
    above, below = made.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    if parts.title:
        made.suptitle(parts.title, x=0.01, ha="left", fontsize=13)
    _draw_curves(above, parts, now)
    _draw_leakage(below, parts, now)
    for axes in (above, below):
        axes.grid(visible=True, color="0.9", linewidth=0.8)
        axes.set_axisbelow(True)
        axes.spines[["top", "right"]].set_visible(False)
        axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1), frameon=False, fontsize=9, handlelength=3.2)
    return made


def curves(parts: Parts, now: Chain) -> list[Curve]:
    """What the upper picture shows, in the order of the legend."""
    led = parts.led.power
    axis, corner = _filters(parts)
    absorption = parts.dye.table.epsilon(parts.target.concentration_um)
    emission = parts.dye.emission_photons
    turned = f"filter at the corner ({now.position('corner').filter_angle_deg:.0f}°)"
    found = [
        Curve(absorption / absorption.max(), "dye takes up (peak = 1)", _GREEN, "--"),
        Curve(emission / emission.max(), "dye glows (peak = 1)", _RED, "-"),
        Curve(led / led.max(), "LED (peak = 1)", _BLUE, ":"),
        Curve(led * parts.clean_light / led.max(), "LED after clean-up", _BLUE, "-"),
        Curve(axis, "filter on axis", "black", "-"),
        Curve(corner, turned, "black", "-."),
        Curve(parts.sensor.electrons_per_photon, "sensor, electrons a photon", _PURPLE, _DASH_DOT_DOT),
    ]
    return [curve for curve in found if parts.clean_up is not None or curve.label != "LED after clean-up"]


def _draw_curves(axes: "Axes", parts: Parts, now: Chain) -> None:
    for curve in curves(parts, now):
        axes.plot(
            WAVELENGTH_NM, curve.values, label=curve.label, color=curve.colour, linestyle=curve.style, linewidth=1.8
        )
    emission = parts.dye.emission_photons
    counted = emission / emission.max() * _filters(parts)[0]
    axes.fill_between(WAVELENGTH_NM, counted, color=_ORANGE, alpha=0.35, linewidth=0, label="glow that passes on axis")
    axes.set_ylim(0, 1.05)
    axes.set_ylabel("share")


def _draw_leakage(axes: "Axes", parts: Parts, now: Chain) -> None:
    on_target = parts.led.power * parts.clean_light
    light = on_target / on_target.max()
    axis, corner = _filters(parts)
    axes.plot(WAVELENGTH_NM, light, label="light on the target", color=_BLUE, linewidth=2.0)
    axes.plot(WAVELENGTH_NM, axis, label="filter on axis", color="black", linewidth=1.6)
    axes.plot(WAVELENGTH_NM, corner, label="filter at the corner", color="black", linestyle="-.", linewidth=1.6)
    leaked = np.maximum(light * corner, _DEEPEST)
    label = f"leaks at the corner: {now.position('corner').leakage_share:.1e}"
    axes.fill_between(WAVELENGTH_NM, _DEEPEST, leaked, color=_ORANGE, alpha=0.6, linewidth=0, label=label)
    leaked = np.maximum(light * axis, _DEEPEST)
    label = f"leaks on axis: {now.position('centre').leakage_share:.1e}"
    axes.fill_between(
        WAVELENGTH_NM, _DEEPEST, leaked, label=label, facecolor="none", edgecolor=_BLUE, hatch="////", linewidth=0
    )
    axes.set_yscale("log")
    axes.set_ylim(_DEEPEST, 2)
    axes.set_xlim(_LOW_NM, _HIGH_NM)
    axes.set_ylabel("share, logarithmic")
    axes.set_xlabel("wavelength, nm")


def _filters(parts: Parts) -> tuple[F64, F64]:
    """Transmission of the emission filter at the centre and at the corner, each over its rays."""
    return (
        parts.emission_filter.over(rays_at(parts, "centre").angles_deg),
        parts.emission_filter.over(rays_at(parts, "corner").angles_deg),
    )
