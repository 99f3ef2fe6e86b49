"""Difference and ratio of two recordings' figures, each with a standard uncertainty."""

import math
from collections.abc import Sequence
from dataclasses import fields

from shared.inflow.parameters import Estimate, InflowParameters

_SURELY_NOT_NOUGHT = 3.0
"""A ratio to a number that is less than this many of its uncertainties from nought says nothing."""
SAME_PLACE = 0.6
"""Correlation of what the place does to two recordings: the regions are those of the first in both, and the same dye in the same
tissue pulls both alike: in 420 pairs, each of another tissue, their places are off alike by 0.60 the way that dye pulls, by 0.15
the other way, where only noise moves them. It was 0.8 and more while parts that dye moves alone pulled the whole."""


def estimates(figures: InflowParameters) -> dict[str, Estimate]:
    """All figures that have an uncertainty, by name."""
    known = {field.name: getattr(figures, field.name) for field in fields(figures)}
    return {name: value for name, value in known.items() if isinstance(value, Estimate)}


def shared_by_place(first: Sequence[float], second: Sequence[float]) -> float:
    """Covariance of one figure in two recordings, from what is unsure alike in both, step by step."""
    return SAME_PLACE * sum(one * other for one, other in zip(first, second, strict=False))


def difference(first: Estimate, second: Estimate, shared: float = 0.0) -> Estimate:
    """Second minus first; noise is independent, ``shared`` is the covariance that is left (JCGM 100:2008, GUM, 5.1.2 and 5.2.2)."""
    if first.value is None or second.value is None or first.u is None or second.u is None:
        return Estimate()
    return Estimate(second.value - first.value, _combined(second.u, first.u, shared))


def ratio(first: Estimate, second: Estimate, shared: float = 0.0) -> Estimate:
    """Second over first, ``shared`` as for ``difference``; nothing where the first may be nought, or is below it."""
    if first.value is None or second.value is None or first.u is None or second.u is None:
        return Estimate()
    if first.value <= 0 or first.value < _SURELY_NOT_NOUGHT * first.u:
        return Estimate()
    value = second.value / first.value
    return Estimate(value, _combined(second.u, value * first.u, value * shared) / first.value)


def doubted(estimate: Estimate, steps: Sequence[float]) -> Estimate:
    """One figure with the steps to what it is when inputs are moved by their standard uncertainties added to its own (root of the
    sum of squares; numerical sensitivity: GUM, 5.1.3, note 2).
    """
    return estimate if estimate.u is None else Estimate(estimate.value, math.hypot(estimate.u, *steps))


def _combined(one_u: float, other_u: float, covariance: float) -> float:
    return math.sqrt(max(one_u**2 + other_u**2 - 2.0 * covariance, 0.0))
