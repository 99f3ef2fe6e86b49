"""What is left of a first injection when a second one goes in: predicted from how the first washed out, and seen before the second.

The signal before the second injection is leakage and ambient light, as it was before the first one, plus what is left, which goes
on falling by half every half-life. The two answers are combined by their weights; where they differ by more than
their uncertainties say, the result's is enlarged (Birge 1932, Phys Rev 40:207).
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from shared.dye_record import HALF_LIVES_MIN
from shared.inflow.curves import RegionCurve
from shared.inflow.reading import Reading
from shared.signal import Measured

F64 = NDArray[np.float64]

Method = Literal["prediction and observation", "prediction", "observation", "baseline alone", "no second injection"]
"""How what was left is known. "baseline alone": what was there before the second injection is taken off, as if it stood still."""
_LEAST_FRAMES = 3
_END_SHARE = 0.1
_CONTRADICTION = 4.0
"""Prediction and observation that differ by more than this many uncertainties are not about the same thing."""
_MODEL_SHARE = 0.05
"""Doubt that is no noise: of the prediction, as one half-life stands for a washout that slows down; of the first baseline, as a
hand that comes back sees leakage differently. Design choice, no source."""


@dataclass(frozen=True)
class Washout:
    """What a first recording says of a region: ``before`` any dye, ``height`` above that at ``at_s``, and how fast it then fell.

    Signals in the curve's unit, times since that recording's first frame; what cannot be known is None.
    """

    before: Measured | None
    height: Measured | None
    at_s: float
    half_life_s: Measured | None

    def magnified(self, magnification: float) -> "Washout":
        """The same as a picture shows it in which the tissue is so many times as large: see ``brighter``."""
        before, height = (None if one is None else brighter(one, magnification) for one in (self.before, self.height))
        return replace(self, before=before, height=height)


def brighter(level: Measured, magnification: float) -> Measured:
    """A level of one recording in the light of another, in whose picture the tissue is so many times as large.

    Size goes as one over the distance, and a ring's irradiance as one over its square (both where the distance is large beside
    focal length and ring). Half of what that changes is doubt: ambient light does not follow, and a hand tilts. Design choice, no
    source.
    """
    factor = magnification**2
    return Measured(level.value * factor, math.hypot(level.u * factor, 0.5 * abs(factor - 1.0) * level.value))


@dataclass(frozen=True)
class Remainder:
    """Signal left of the first dye at the second recording's first frame, and how fast it falls.

    ``predicted`` and ``observed`` are what went into it, ``low`` and ``high`` the prediction's 95 % interval; None where unknown.
    ``contradicts`` says that the two have too little to do with each other: then the observation counts.
    """

    method: Method
    left: Measured | None = None
    half_life_s: Measured | None = None
    predicted: Measured | None = None
    low: float | None = None
    high: float | None = None
    observed: Measured | None = None
    contradicts: bool = False
    unseen_fall: "Remainder | None" = None
    """What may be left where the washout was not seen: a doubt, never taken out."""

    def at(self, times_s: F64) -> F64:
        """What is left at ``times_s`` after the second recording's first frame; zeros where only the baseline is taken off."""
        if self.left is None or self.half_life_s is None:
            return np.zeros_like(times_s)
        return np.asarray(self.left.value * np.exp2(-times_s / self.half_life_s.value))

    def variations(self) -> tuple["Remainder", ...]:
        """The same with one input moved by its standard uncertainty, once each: what left is, and how fast it falls."""
        if self.left is None or self.half_life_s is None:
            return () if self.unseen_fall is None else (self.unseen_fall,)
        left, half_life = self.left, self.half_life_s
        # the fall, not the half-life, is moved, so that a half-life of little certainty stays above zero
        slower = half_life.value / max(1.0 - half_life.u / half_life.value, 0.05)
        return (
            Remainder(self.method, Measured(left.value + left.u, left.u), half_life),
            Remainder(self.method, left, Measured(slower, half_life.u)),
        )


def washout_of(curve: RegionCurve, reading: Reading, fallback: Measured | None) -> Washout:
    """Washout of a region in the first recording; ``fallback`` is the reference's half-life, for a region whose own is unseen."""
    before = None if reading.baseline is None else Measured(reading.baseline.value, reading.baseline.u)
    half_life = reading.half_life_s
    known = fallback if half_life is None else Measured(half_life.value, half_life.u)
    if before is None or known is None or reading.saturated:
        return Washout(before, None, 0.0, known)
    end_s = float(curve.times_s[-1])
    late = curve.times_s >= end_s - _END_SHARE * (end_s - float(curve.times_s[0]))
    return Washout(before, _level_at(curve, late, before, end_s, known.value), end_s, known)


def remainder_of(washout: Washout, second: RegionCurve, until_s: float, offset_s: float | None) -> Remainder:
    """What is left in the second recording, from the washout of the first and the frames before ``until_s``.

    ``offset_s`` is from the first recording's first frame to the second's; None where nobody knows.
    """
    half_life, early = washout.half_life_s, second.times_s < until_s
    if half_life is None or washout.before is None:
        return Remainder("baseline alone", unseen_fall=_unseen_fall(washout.before, second, early))
    predicted, low, high = _predicted(washout, offset_s)
    observed = None
    if early.sum() >= _LEAST_FRAMES:
        seen = _level_at(second, early, washout.before, 0.0, half_life.value)
        observed = Measured(seen.value, math.hypot(seen.u, _MODEL_SHARE * washout.before.value))
    known = [one for one in (predicted, observed) if one is not None]
    if not known:
        return Remainder("baseline alone", half_life_s=half_life)
    if predicted is None or observed is None:
        method: Method = "prediction" if observed is None else "observation"
        return Remainder(method, known[0], half_life, predicted, low, high, observed)
    left, apart = _combined(predicted, observed)
    if apart <= _CONTRADICTION:
        return Remainder("prediction and observation", left, half_life, predicted, low, high, observed)
    doubt = math.hypot(observed.u, 0.5 * (observed.value - predicted.value))
    return Remainder(
        "observation", Measured(observed.value, doubt), half_life, predicted, low, high, observed, contradicts=True
    )


def without(curve: RegionCurve, remainder: Remainder) -> RegionCurve:
    """The second recording's curve without what was left of the first dye."""
    return replace(curve, signal=curve.signal - remainder.at(curve.times_s))


def _unseen_fall(before: Measured | None, second: RegionCurve, early: NDArray[np.bool_]) -> Remainder | None:
    """What stands above ``before`` as the second recording begins, falling as in most healthy adults (shared.dye_record)."""
    if before is None or early.sum() < _LEAST_FRAMES:
        return None
    half_life = Measured(60.0 * HALF_LIVES_MIN[1], 0.0)
    return Remainder("baseline alone", _level_at(second, early, before, 0.0, half_life.value), half_life)


def _level_at(
    curve: RegionCurve, part: NDArray[np.bool_], before: Measured, at_s: float, half_life_s: float
) -> Measured:
    """Height above ``before`` at ``at_s`` of an exponential of known half-life through some frames (weighted least squares)."""
    shape = np.exp2(-(curve.times_s[part] - at_s) / half_life_s)
    weights = 1.0 / np.square(curve.signal_u[part])
    spread = float((weights * shape * shape).sum())
    height = float((weights * shape * (curve.signal[part] - before.value)).sum()) / spread
    by_before = float((weights * shape).sum()) / spread
    return Measured(height, math.hypot(1.0 / math.sqrt(spread), by_before * before.u))


def _predicted(washout: Washout, offset_s: float | None) -> tuple[Measured | None, float | None, float | None]:
    """What is left by the washout alone, with its 95 % interval, which a half-life's uncertainty makes lopsided."""
    height, half_life = washout.height, washout.half_life_s
    if offset_s is None or height is None or half_life is None:
        return None, None, None
    gap_s = offset_s - washout.at_s

    def left(height_then: float, rate_doubt: float) -> float:
        return height_then * math.exp2(-gap_s / half_life.value * max(1.0 + rate_doubt, 0.0))

    value = left(height.value, 0.0)
    by_rate = abs(value) * math.log(2.0) * abs(gap_s) / half_life.value * (half_life.u / half_life.value)
    by_model = _MODEL_SHARE * abs(value)
    by_height = height.u * 2.0 ** (-gap_s / half_life.value)
    rate_doubt = 1.96 * half_life.u / half_life.value
    plain = 1.96 * math.hypot(by_model, by_height)
    low, high = sorted((left(height.value, rate_doubt), left(height.value, -rate_doubt)))
    return Measured(value, math.hypot(by_rate, by_model, by_height)), max(low - plain, 0.0), high + plain


def _combined(one: Measured, other: Measured) -> tuple[Measured, float]:
    """Weighted mean, its uncertainty enlarged where the two scatter more than theirs, and by how many of these they differ."""
    weights = 1.0 / one.u**2, 1.0 / other.u**2
    total = sum(weights)
    apart = abs(one.value - other.value) / math.hypot(one.u, other.u)
    mean = (weights[0] * one.value + weights[1] * other.value) / total
    return Measured(mean, max(apart, 1.0) / math.sqrt(total)), apart
