"""Where a curve roughly rises, found without any model: what the estimators start from."""

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from shared.inflow.series import Series
from shared.inflow.smoothing import local_factors, smooth

F64 = NDArray[np.float64]

CUT_OFF_SHARE = 0.9
"""The rise and the top end where the curve has fallen to this share of its peak."""
_WIDTH = 0.45
"""Smoothing half-width as a share of the rise."""
_PASSES = 3
_PLAIN_WIDTH, _USUAL_INFORMATION, _WIDEST = 0.36, 400.0, 0.6
"""Half-width of a local cubic, as a share of the rise, at a usual information in it, and its widest."""
_LEAST_EARLY_POINTS = 3
_LEAST_REACH = 8.0
"""Steps to either side that a cubic needs which noise is looked at about: a narrower one takes up most of it."""
_BY_CHANCE = 1.2
"""Standard deviation of a scatter that is none, told by the median of so many points, times their root."""
_MOST_STEEP = 0.75
"""Share of a curve beyond which its steep part counts for the scatter too."""
_LEAST_RISEN = 1.0 / 3.0
"""Of the rise, that must be left behind the top to tell what goes with it (design choice, no source)."""
_OF_MEDIAN = 1.4826
"""Standard deviation beside the median of absolute deviations, of normal ones."""


@dataclass(frozen=True, eq=False)
class Outline:
    """Moments in seconds, levels in the curve's unit: ``level`` before the rise, ``foot_s`` before which nothing has risen.

    ``significance`` is the rise over its uncertainty; ``sigma`` (points,) are the standard uncertainties of the series where it
    scatters more than the noise model says.
    """

    level: float
    top: float
    foot_s: float
    tenth_s: float
    half_s: float
    top_s: float
    fallen_s: float
    significance: float = 0.0
    sigma: F64 = field(default_factory=lambda: np.zeros(0))

    @property
    def rise_s(self) -> float:
        """From a tenth of the peak to the peak."""
        return self.top_s - self.tenth_s

    @property
    def height(self) -> float:
        """Peak above the level before."""
        return self.top - self.level

    def plain_width_s(self, series: Series) -> float:
        """Half-width of a local cubic that keeps what it flattens of a rise well below what noise does to it.

        As noise to the power 2/9: flattening grows with the fourth power of the width and noise falls with its root, so this keeps
        their ratio.
        """
        unsure = _USUAL_INFORMATION / max(self.information(series), 1.0)
        return min(_PLAIN_WIDTH * math.pow(unsure, 2.0 / 9.0), _WIDEST) * self.rise_s

    def information(self, series: Series) -> float:
        """Root of the sum of squared signal to noise over the points of the rise."""
        rising = (series.times_s >= self.tenth_s) & (series.times_s <= self.top_s)
        return float(np.linalg.norm(self.height / series.sigma[rising]))


def outline_of(series: Series, injected_at_s: float | None) -> Outline:
    """Outline of a series; ``injected_at_s`` None where unknown."""
    whole_s, step_s = float(series.times_s[-1] - series.times_s[0]), series.step_s
    half_width_s = max(0.03 * whole_s, 5 * step_s)
    for _ in range(_PASSES):
        rough = smooth(series.slots, series.values, series.weights, half_width_s / step_s)
        outline = _outline(series, rough, injected_at_s)
        half_width_s = float(np.clip(_WIDTH * outline.rise_s, 3 * step_s, 0.1 * whole_s + 5 * step_s))
    sigma = _as_it_scatters(series, outline)
    at_top = local_factors(series.times_s, series.weights, outline.top_s, half_width_s)[0]
    early = series.times_s <= max(outline.foot_s, float(series.times_s[_LEAST_EARLY_POINTS]))
    noise = float(np.hypot(np.linalg.norm(at_top * sigma), np.median(sigma) / np.sqrt(early.sum())))
    return replace(outline, significance=outline.height / noise, sigma=sigma)


def _as_it_scatters(series: Series, outline: Outline) -> F64:
    """Standard uncertainties of a series (points,): more than its noise by what it surely scatters besides.

    About a local cubic so narrow that what it flattens is below that noise; and, where enough is left, without the rise and the
    top, which are the steepest. Before them that is a factor. Behind them, where more is seen, it goes with what has risen, as the
    flicker of a lamp, or with how else it is beside, as the edge of a tissue that a hand moves: of both the larger.
    """
    reach = max(outline.plain_width_s(series) / series.step_s, _LEAST_REACH)
    smoothed = smooth(series.slots, series.values, series.weights, reach)
    slots, middle, width = series.slots.astype(np.float64), series.slots.size // 2, math.floor(reach) + 1.0
    own, *_ = local_factors(slots, np.ones(slots.size), slots[middle], width)
    # of a value's noise a part goes into the cubic too
    left = 1.0 - 2.0 * float(own[middle]) + float(own @ own)
    off = np.abs(series.values - smoothed) / (series.sigma * math.sqrt(left))
    before, after = series.times_s <= outline.foot_s, series.times_s >= outline.top_s + outline.rise_s
    aside = before | after
    if aside.mean() <= 1.0 - _MOST_STEEP:
        return series.sigma * _scatter(off)
    of_before, of_after = _scatter(off[before]), _scatter(off[after])
    risen = np.clip(smoothed - outline.level, 0.0, outline.height)
    if of_after <= of_before or not before.any() or np.median(risen[after]) < _LEAST_RISEN * outline.height:
        return series.sigma * _scatter(off[aside])
    goes = risen / np.median(risen[after])
    beside = float(np.median(series.beside[after]))
    if beside > 0.0:
        goes = np.maximum(goes, series.beside / beside)
    share = math.sqrt((of_after**2 - of_before**2) / float(np.median(np.square(goes / series.sigma)[after])))
    return np.asarray(np.hypot(of_before * series.sigma, share * goes))


def _scatter(off: F64) -> float:
    """How much more numbers scatter than by 1, told by their median (Birge 1932, Phys Rev 40:207, but by medians); 1 where that may
    be chance.
    """
    if not off.size:
        return 1.0
    scatter = _OF_MEDIAN * float(np.median(off))
    return scatter if scatter > 1.0 + _BY_CHANCE / math.sqrt(off.size) else 1.0


def _outline(series: Series, rough: F64, injected_at_s: float | None) -> Outline:
    times = series.times_s
    top = int(np.argmax(rough))
    early = times < (injected_at_s or 0.0)
    if early.sum() < _LEAST_EARLY_POINTS:
        early = np.arange(times.size) < max(_LEAST_EARLY_POINTS, times.size // 50)
    level = float(np.average(series.values[early], weights=series.weights[early]))
    height = float(rough[top]) - level
    tenth_s, half_s = (_last_rise_through(times[: top + 1], rough, level + share * height) for share in (0.1, 0.5))
    fallen = np.flatnonzero(rough[top:] < level + CUT_OFF_SHARE * height)
    return Outline(
        level,
        level + height,
        foot_s=max(2 * tenth_s - half_s, float(times[0])),
        tenth_s=tenth_s,
        half_s=half_s,
        top_s=float(times[top]),
        fallen_s=float(times[top + fallen[0]] if fallen.size else times[-1]),
    )


def _last_rise_through(times_s: F64, rough: F64, level: float) -> float:
    """Last moment of ``times_s`` at which the curve rises through a level; the first where it never was below."""
    below = np.flatnonzero(rough[: times_s.size] < level)
    if not below.size:
        return float(times_s[0])
    i = int(below[-1])
    j = min(i + 1, times_s.size - 1)
    share = (level - rough[i]) / (rough[j] - rough[i]) if rough[j] > rough[i] else 0.0
    return float(times_s[i] + share * (times_s[j] - times_s[i]))
