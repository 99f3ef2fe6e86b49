"""Moments of a rise: its highest point, where it passes a share of that, where it is steepest; each with what noise does to it."""

import math

import numpy as np

from shared.inflow.guided import GuidedCurve
from shared.inflow.propagated import Propagated

_STEPS = 20
_MOST_LOOKS = 40
_NEAR = 0.005
_LOOKS, _DIP, _SURELY = 12, 0.9, 2.0
"""Where another steep part is looked for, how much less steep it is in between, and by how many uncertainties it is steeper."""
_CLOSE = 1e-6
"""Landmarks are found to this share of the smoothing width."""


def highest(curve: GuidedCurve, earliest_s: float, latest_s: float) -> tuple[Propagated, Propagated] | None:
    """Time and value of the highest point between two moments; None where it lies at either of them, or the top is no top."""
    if latest_s <= earliest_s:
        return None
    step_s = max((latest_s - earliest_s) / _MOST_LOOKS, 0.25 * curve.half_width_s)
    looks = np.arange(earliest_s, latest_s + 0.5 * step_s, step_s)
    best = int(np.argmax([curve.at(float(look)).value.value for look in looks]))
    if best in (0, looks.size - 1):
        return None
    low_s, at_s, high_s = (float(look) for look in looks[best - 1 : best + 2])
    for _ in range(_STEPS):
        point = curve.at(at_s)
        if point.slope.value > 0:
            low_s = at_s
        else:
            high_s = at_s
        step_s = -point.slope.value / point.curvature if point.curvature < 0 else math.inf
        at_s = at_s + step_s if low_s < at_s + step_s < high_s else 0.5 * (low_s + high_s)
        if min(abs(step_s), high_s - low_s) < _CLOSE * curve.half_width_s:
            break
    point = curve.at(at_s)
    if point.curvature >= 0:
        return None
    return Propagated(at_s, point.slope.shares / -point.curvature), point.value


def crossing(
    curve: GuidedCurve, level: Propagated, near_s: float, earliest_s: float, latest_s: float
) -> Propagated | None:
    """When the curve rises through ``level`` (from the same series), looked for from ``near_s`` on; None where it does not."""
    at_s, low_s, high_s = near_s, earliest_s, latest_s
    for _ in range(2 * _STEPS):
        point = curve.at(at_s)
        above = point.value.value - level.value
        if above < 0:
            low_s = max(low_s, at_s)
        else:
            high_s = min(high_s, at_s)
        slope = point.slope.value
        step_s = -above / slope if slope > 0 else math.inf
        if abs(step_s) < _CLOSE * curve.half_width_s:
            point = curve.at(at_s + step_s)
            return Propagated(at_s + step_s, (level.shares - point.value.shares) / point.slope.value)
        at_s += step_s
        if not low_s < at_s < high_s:
            at_s = 0.5 * (low_s + high_s)
        if high_s - low_s < _CLOSE * curve.half_width_s:
            return None
    return None


def steepest(curve: GuidedCurve, near_s: float, earliest_s: float, latest_s: float) -> Propagated | None:
    """Greatest slope a second; None where the curve does not rise.

    That of the steep part about ``near_s``, unless another one is steeper: a region that holds two tissues rises twice, less
    steeply in between. Where it does not, what is steeper is how a smooth curve goes round a corner.
    """
    looks = np.linspace(earliest_s, latest_s, _LOOKS)
    slopes = np.array([curve.at(float(look)).slope.value for look in looks])
    at_s, slope = _steepest_about(curve, near_s, earliest_s, latest_s)
    other = int(np.argmax(slopes))
    first, last = sorted((int(np.searchsorted(looks, at_s)), other))
    if slopes[other] > slope.value and slopes[first : last + 1].min() < _DIP * slope.value:
        steeper = _steepest_about(curve, float(looks[other]), earliest_s, latest_s)[1]
        by = steeper - slope
        slope = steeper if by.value > _SURELY * by.u else slope
    return slope if slope.value > 0 else None


def _steepest_about(curve: GuidedCurve, near_s: float, earliest_s: float, latest_s: float) -> tuple[float, Propagated]:
    """When and how steep, by parabolas through three slopes, ever closer together."""
    at_s, reach_s = near_s, 0.1 * (latest_s - earliest_s)
    for _ in range(_STEPS):
        before, here, after = (curve.at(at_s + way * reach_s).slope.value for way in (-1, 0, 1))
        bend = before - 2 * here + after
        step_s = 0.5 * (before - after) / bend * reach_s if bend < 0 else math.copysign(reach_s, after - before)
        at_s = min(max(at_s + min(max(step_s, -reach_s), reach_s), earliest_s), latest_s)
        if abs(step_s) < 0.5 * reach_s:
            reach_s *= 0.4
        if reach_s < _NEAR * (latest_s - earliest_s):
            break
    return at_s, curve.at(at_s).slope
