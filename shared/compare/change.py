"""Difference and ratio of two recordings' figures, each with a standard uncertainty."""

import math
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

from shared.inflow.parameters import Estimate, InflowParameters

_SURELY_NOT_NOUGHT = 3.0
"""A ratio to a number that is less than this many of its uncertainties from nought says nothing."""


def estimates(figures: InflowParameters) -> dict[str, Estimate]:
    """All figures that have an uncertainty, by name."""
    known = {field.name: getattr(figures, field.name) for field in fields(figures)}
    return {name: value for name, value in known.items() if isinstance(value, Estimate)}


def difference(first: Estimate, second: Estimate) -> Estimate:
    """Second minus first; the recordings' noise is independent (JCGM 100:2008, GUM, 5.1.2)."""
    if first.value is None or second.value is None or first.u is None or second.u is None:
        return Estimate()
    return Estimate(second.value - first.value, math.hypot(first.u, second.u))


def ratio(first: Estimate, second: Estimate) -> Estimate:
    """Second over first (GUM, 5.1.2); nothing where the first may be nought, or is below it."""
    if first.value is None or second.value is None or first.u is None or second.u is None:
        return Estimate()
    if first.value <= 0 or first.value < _SURELY_NOT_NOUGHT * first.u:
        return Estimate()
    value = second.value / first.value
    return Estimate(value, math.hypot(second.u, value * first.u) / first.value)


def with_doubts(figures: InflowParameters, variations: Sequence[InflowParameters]) -> InflowParameters:
    """Figures with what each variation changes in them added to their uncertainty (root of the sum of squares).

    A variation is the same figures with one input moved by its standard uncertainty (numerical sensitivity: GUM, 5.1.3, note 2).
    A figure that a variation makes unknowable stays as it is.
    """
    known, moved = estimates(figures), [estimates(varied) for varied in variations]
    found: dict[str, Any] = {
        name: doubted(estimate, [each[name] for each in moved]) for name, estimate in known.items()
    }
    return replace(figures, **found)


def doubted(estimate: Estimate, moved: Sequence[Estimate]) -> Estimate:
    """One figure with the steps to what it is when inputs are ``moved`` added to its uncertainty."""
    if estimate.value is None or estimate.u is None:
        return estimate
    steps = [each.value - estimate.value for each in moved if each.value is not None]
    return Estimate(estimate.value, math.hypot(estimate.u, *steps))
