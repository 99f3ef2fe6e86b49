"""Each figure of a calibration beside its limit: pass, fail, or stated only. Limits are our own choice unless a source is named."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from shared.commissioning.calibration_folder import Figures
from shared.commissioning.step_name import StepName


@dataclass(frozen=True)
class Verdict:
    """``words`` is the value with its unit and standard uncertainty; ``limit`` empty where the figure is stated only."""

    step: StepName
    figure: str
    words: str
    limit: str
    passed: bool | None


def verdicts(figures: Figures, white_level: int) -> tuple[Verdict, ...]:
    """All figures of the steps that were taken, step by step in their order."""
    found: list[Verdict] = []
    for step, read in _READERS.items():
        taken = figures.of(step)
        if taken is not None:
            found += read(taken, float(white_level))
    return tuple(found)


def passed(figures: Figures, white_level: int) -> bool:
    """Whether every step that counts need was taken, and no figure failed."""
    return not figures.missing and all(one.passed is not False for one in verdicts(figures, white_level))


def _dark(one: Any, white: float) -> Iterator[Verdict]:
    current, allowed = one.current_counts_per_s, 0.02 * white
    yield Verdict("dark", "mean", _pm(one.mean_counts, one.mean_counts_u, "counts"), "", None)
    yield Verdict("dark", "temporal noise", f"{one.noise_counts:.2f} counts", "", None)
    yield _at_most("dark", "DSNU", one.dsnu_counts, 0.0, 0.01 * white, "counts")
    yield _at_most("dark", "dark current", current, one.current_counts_per_s_u, allowed, "counts/s")


def _defects(one: Any, _: float) -> Iterator[Verdict]:
    kinds = f"{one.all} ({one.hot} hot, {one.noisy} noisy, {one.odd_in_light} odd in light)"
    yield Verdict("defects", "pixels replaced", kinds, "", None)
    yield _at_most("defects", "share", 100 * one.share, 0.0, 0.1, "%")


def _flat(one: Any, _: float) -> Iterator[Verdict]:
    yield _at_most("flat", "noise of a pixel", one.noise_percent, 0.0, 0.5, "%")
    yield _at_least("flat", "darkest place", one.darkest_percent, 0.0, 30.0, "% of the brightest")
    tilt = max(abs(one.tilt_right_percent), abs(one.tilt_down_percent))
    yield _at_most("flat", "lopsidedness", tilt, 0.0, 15.0, "%")


def _gain(one: Any, _: float) -> Iterator[Verdict]:
    k = _pm(one.counts_per_electron, one.counts_per_electron_u, "counts/e")
    yield Verdict("gain", "K at unit gain", k, "", None)
    name = "read noise, at most" if one.read_noise_is_upper_bound else "read noise"
    yield _at_most("gain", name, one.read_noise_electrons, one.read_noise_electrons_u, 15.0, "e")
    well = f"{'' if one.reached_saturation else 'at least '}{one.full_well_electrons:.0f} e"
    yield Verdict("gain", "full well", well, "", None)
    worst = max(abs(one.linearity_low_percent), abs(one.linearity_high_percent))
    yield _at_most("gain", "linearity error", worst, 0.0, 2.0, "%")
    yield Verdict("gain", "DSNU", f"{one.dsnu_electrons:.2f} e", "", None)
    yield _at_most("gain", "PRNU", one.prnu_percent, 0.0, 2.0, "%")


def _scale(one: Any, _: float) -> Iterator[Verdict]:
    words = f"{_pm(one.mm_per_px, one.mm_per_px_u, 'mm/px')} at {one.distance_mm:g} mm"
    yield Verdict("scale", "in the middle", words, "", None)
    distortion = _pm(one.distortion_percent, one.distortion_percent_u, "%")  # its sign tells barrel from pincushion
    yield Verdict("scale", "distortion", distortion, "± 5", abs(one.distortion_percent) <= 5.0)
    yield _at_most("scale", "residual", one.residual_px, 0.0, 0.3, "px")


def _sharpness(one: Any, _: float) -> Iterator[Verdict]:
    yield _at_least("sharpness", "MTF50", one.mtf50_cycles_per_px, one.mtf50_cycles_per_px_u, 0.08, "cycles/px")
    if one.mtf50_cycles_per_mm is not None:
        yield Verdict("sharpness", "MTF50", f"{one.mtf50_cycles_per_mm:.2f} cycles/mm", "", None)


def _leakage(one: Any, _: float) -> Iterator[Verdict]:
    unit = "% of the dye card"
    yield _at_most("leakage", "in the middle", one.middle_percent, one.middle_percent_u, 10.0, unit)
    yield _at_most("leakage", "corners", one.corner_percent, 0.0, 20.0, unit)
    yield _at_most("leakage", "worst place", one.worst_percent, 0.0, 20.0, unit)


def _sensitivity(one: Any, _: float) -> Iterator[Verdict]:
    limit = _pm(one.detection_limit, one.detection_limit_u, one.unit)
    yield Verdict("sensitivity", "limit of detection (3 sigma)", limit, "", None)
    yield Verdict("sensitivity", "linear within 5 % to", f"{one.linear_to:g} {one.unit}", "", None)
    slope = _pm(one.slope, one.slope_u, f"signal per {one.unit}")
    yield Verdict("sensitivity", "slope", slope, "", None)


_READERS: dict[StepName, Callable[[Any, float], Iterator[Verdict]]] = {
    "dark": _dark,
    "defects": _defects,
    "flat": _flat,
    "gain": _gain,
    "scale": _scale,
    "sharpness": _sharpness,
    "leakage": _leakage,
    "sensitivity": _sensitivity,
}


def _at_most(step: StepName, figure: str, value: float, u: float, limit: float, unit: str) -> Verdict:
    return Verdict(step, figure, _pm(value, u, unit), f"at most {limit:.3g}", value <= limit)


def _at_least(step: StepName, figure: str, value: float, u: float, limit: float, unit: str) -> Verdict:
    return Verdict(step, figure, _pm(value, u, unit), f"at least {limit:.3g}", value >= limit)


def _pm(value: float, u: float, unit: str) -> str:
    """Two digits of the uncertainty, the value to the same place (GUM, JCGM 100:2008, 7.2.6)."""
    if not u > 0:
        return f"{value:.3g} {unit}"
    places = max(0, 1 - math.floor(math.log10(u)))
    return f"{value:.{places}f} ± {u:.{places}f} {unit}"
