"""What unsure ambient light does to a region's figures: the curve is read again in each light it might have been.

Where ambient light was measured at steps of the ring's level only, its noise is alike in all frames of a level, and no fit averages
it out. So the curve is read with the light of each moment off by its standard uncertainty, and what a figure changes by is counted
(JCGM 100:2008, GUM, 5.1.3, note 2); region and reference have noise of their own.
"""

import math
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

from shared.inflow.curves import RegionCurve
from shared.inflow.parameters import Estimate, InflowParameters, inflow_parameters
from shared.inflow.reading import Reading, read_curve


def curves_in_other_light(curve: RegionCurve) -> tuple[RegionCurve, ...]:
    """The curve as it would be in other light, one for each moment at which light was measured and counts; none where all was."""
    return (
        () if curve.by_ambient is None else tuple(replace(curve, signal=curve.signal + off) for off in curve.by_ambient)
    )


def readings_in_other_light(curve: RegionCurve, injected_at_s: float | None) -> tuple[Reading, ...]:
    """Readings of these."""
    return tuple(read_curve(each, injected_at_s) for each in curves_in_other_light(curve))


def with_ambient(
    figures: InflowParameters,
    region: tuple[Reading, Sequence[Reading]],
    reference: tuple[Reading, Sequence[Reading]],
    since_s: float,
) -> InflowParameters:
    """Figures of a region whose uncertainty counts that of the ambient light; what has no value in other light keeps what it had.

    Each of ``region`` and ``reference`` is the reading that the figures are of, and those in other light.
    """
    own, against = region[0], reference[0]
    if own is against:  # the reference itself: in one light with itself
        pairs = [(each, each) for each in region[1]]
    else:
        pairs = [*((each, against) for each in region[1]), *((own, each) for each in reference[1])]
    known = inflow_parameters(own, against, since_s)
    others = [inflow_parameters(one, other, since_s) for one, other in pairs]
    widened: dict[str, Any] = {}
    for name in (field.name for field in fields(figures)):
        estimate, value = getattr(figures, name), getattr(getattr(known, name), "value", None)
        if isinstance(estimate, Estimate) and estimate.u is not None and value is not None:
            moved = [getattr(each, name).value for each in others]
            steps = [each - value for each in moved if each is not None]
            widened[name] = Estimate(estimate.value, math.hypot(estimate.u, *steps))
    return replace(figures, **widened)
