"""Relative intensity at a recording's end: what a view with and without a pull is compared by, where no dye comes in."""

import numpy as np

from shared.inflow.curves import RegionCurve
from shared.inflow.parameters import Estimate
from shared.relative import ZERO, relative_measured
from shared.signal import Measured

LATE_SHARE = 0.1


def late_percent(
    region: RegionCurve, reference: RegionCurve, before: Measured | None, reference_before: Measured | None
) -> Estimate:
    """Percent of the reference over the last tenth of the frames, each above what was there ``before`` the dye (None: nothing).

    Nothing where either is saturated, or the reference no brighter than before.
    """
    if region is reference or not region.signal.size or not reference.signal.size:
        return Estimate(100.0, 0.0) if region is reference and region.signal.size else Estimate()
    ends = [late_signal(curve) for curve in (region, reference)]
    if ends[0] is None or ends[1] is None:
        return Estimate()
    found = relative_measured(ends[0], ends[1], before or ZERO, reference_before or ZERO)
    return Estimate() if found is None else Estimate(found.value, found.u)


def late_signal(curve: RegionCurve) -> Measured | None:
    """Mean signal over the last tenth of the frames; None where it is saturated there."""
    count = max(int(curve.signal.size * LATE_SHARE), 1)
    if curve.saturated[-count:].any():
        return None
    return Measured(float(curve.signal[-count:].mean()), float(np.linalg.norm(curve.signal_u[-count:])) / count)


def late_place_u(curve: RegionCurve) -> tuple[float, ...]:
    """What one standard uncertainty of the place, each way, changes in that mean; nothing for a standing region."""
    if curve.by_place is None:
        return ()
    count = max(int(curve.signal.size * LATE_SHARE), 1)
    return tuple(float(each) for each in curve.by_place[:, -count:].mean(axis=1))
