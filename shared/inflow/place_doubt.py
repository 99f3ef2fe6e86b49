"""What an unsure place does to a region's figures: the curves are read again as they would be beside it.

Registration errs alike in many frames, and alike in region and reference, so it is no noise that a fit would average out. The
curves are read with the whole run off by one standard uncertainty of the place, to the right and then down, and what a figure
changes by is counted (JCGM 100:2008, GUM, 5.1.3, note 2). And the error changes as dye changes the picture, which moves the peak of
a region on an edge, so they are read once more with a place that goes from one uncertainty off to the other side: at once, where
another view is begun, else evenly over the run. A level at one moment does not rest on that: there the place is off once, to the
right and down.
"""

import math
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared.inflow.curves import RegionCurve
from shared.inflow.parameters import Estimate, InflowParameters, inflow_parameters
from shared.inflow.reading import Reading, read_curve

F64 = NDArray[np.float64]

_GROWN = 1.25
"""A place becomes unsure within a run where its uncertainty grows by this factor."""
AT_ONE_MOMENT = (
    "baseline_counts_per_ms",
    "peak_relative_percent",
    "relative_percent_at_reference_peak",
    "relative_percent_at_end",
)
"""Figures that are a level, which a place that goes from one side to the other does not change."""


def curves_beside(curve: RegionCurve) -> tuple[RegionCurve, ...]:
    """The curve as it would be off to the right, down, and nearer, and, last, going from one side to the other; none where its
    place is as sure as that of a standing one.
    """
    if curve.by_place is None:
        return ()
    beside = (*curve.by_place, _going_over(curve, curve.by_place))
    return tuple(replace(curve, signal=curve.signal + off) for off in beside)


def _going_over(curve: RegionCurve, by_place: F64) -> F64:
    """What the signal is off (frames,) while the place goes from one side to the other.

    What dye does to a place it does within a second or two, while the picture it is sought in becomes another: in 200 runs, each of
    another tissue, places were off along the way of the dye by 0.02 px before, by 0.06 as soon as a second view was begun, and by
    0.08 from the third to the end. So it goes at once, by its greatest uncertainty.
    """
    off, place_px = np.hypot(*by_place[:2]), curve.place_px
    if place_px is None or place_px.max() < _GROWN * place_px.min():
        return np.asarray(off * np.linspace(-1.0, 1.0, off.size))
    least, most = place_px.min(), place_px.max()
    begun = np.arange(off.size) >= np.argmax(place_px >= 0.5 * (least + most))
    return np.asarray(off / place_px * most * np.where(begun, 0.5, -0.5))


def readings_beside(curve: RegionCurve, injected_at_s: float | None) -> tuple[Reading, ...]:
    """Readings of these."""
    return tuple(read_curve(each, injected_at_s) for each in curves_beside(curve))


def with_place(
    figures: InflowParameters,
    region: Sequence[Reading],
    reference: Sequence[Reading],
    since_s: float,
) -> InflowParameters:
    """Figures of a region whose uncertainty counts the place too; what has no value beside it keeps the one it had."""
    moved = [inflow_parameters(one, against, since_s) for one, against in zip(region, reference, strict=False)]
    known = {field.name: getattr(figures, field.name) for field in fields(figures)}
    widened: dict[str, Any] = {
        name: _widened(estimate, place_steps(name, estimate, [getattr(each, name) for each in moved]))
        for name, estimate in known.items()
        if isinstance(estimate, Estimate)
    }
    return replace(figures, **widened)


def place_steps(name: str, estimate: Estimate, beside: Sequence[Estimate]) -> tuple[float, ...]:
    """What an unsure place changes in a figure, to the right and down first; ``beside`` as ``curves_beside`` has them."""
    if estimate.value is None:
        return ()
    counted = beside[:-1] if name in AT_ONE_MOMENT else beside
    return tuple(0.0 if each.value is None else each.value - estimate.value for each in counted)


def _widened(estimate: Estimate, steps: Sequence[float]) -> Estimate:
    return estimate if estimate.u is None else Estimate(estimate.value, math.hypot(estimate.u, *steps))
