"""Relative intensity: percent of a reference, each with what was there before the dye taken off."""

import math

import numpy as np
from numpy.typing import NDArray

from shared.signal import Measured

ZERO = Measured(0.0, 0.0)


def relative_percent(
    signal: NDArray[np.floating] | float,
    reference: float,
    baseline: NDArray[np.floating] | float = 0.0,
    reference_baseline: float = 0.0,
) -> NDArray[np.float64]:
    """100 (signal - baseline) / (reference - its baseline), NaN everywhere when the reference does not exceed its baseline."""
    above = reference - reference_baseline
    difference = np.asarray(signal, np.float64) - baseline
    if not above > 0:
        return np.full_like(difference, np.nan)
    return 100.0 * difference / above


def relative_measured(
    signal: Measured, reference: Measured, baseline: Measured = ZERO, reference_baseline: Measured = ZERO
) -> Measured | None:
    """Percent with its standard uncertainty; None where it is undefined (the reference does not exceed its baseline).

    First-order propagation for independent quantities (JCGM 100:2008, GUM, clause 5.1.2).
    """
    above = reference.value - reference_baseline.value
    if not above > 0:
        return None
    share = (signal.value - baseline.value) / above
    numerator_u = math.hypot(signal.u, baseline.u)
    denominator_u = math.hypot(reference.u, reference_baseline.u)
    return Measured(100.0 * share, 100.0 * math.hypot(numerator_u, share * denominator_u) / above)
