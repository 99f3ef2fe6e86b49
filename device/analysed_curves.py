"""The curves of an analysis as the page shows them and ``tapetum analyse --curves`` prints them: percent, with uncertainty."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from device.analysis import Analysis
from shared.inflow.curves import RegionCurve
from shared.inflow.reading import Reading, mean_before

F64 = NDArray[np.float64]

_DIGITS = 6


def analysed_curves(analysis: Analysis) -> dict[str, Any]:
    """``times_s`` since the first frame, shared by all; for each region ``values`` and ``u``, None where it has no value.

    100 x (signal - its baseline) / the reference's peak in "%"; where the reference has no peak, signals in "counts/ms". ``u`` is
    one standard uncertainty of the frame's mean; that of baseline and peak, the same in every frame, is in the figures.
    """
    curves = analysis.curves
    times_s = np.unique(np.concatenate([curve.times_s for curve in curves.values()]))
    reference = analysis.readings[analysis.reference.name]
    peak = None if reference.peak is None or reference.peak.value <= 0 else reference.peak.value
    scale = 1.0 if peak is None else 100.0 / peak
    series = []
    for name, curve in curves.items():
        below = 0.0 if peak is None else _baseline(analysis.readings[name], reference)
        series.append(
            {
                "name": name,
                "region": str(curve.region),
                "values": _spread(times_s, curve, scale * (curve.signal - below)),
                "u": _spread(times_s, curve, scale * curve.signal_u),
                "saturated_frames": int(curve.saturated.sum()),
            }
        )
    return {
        "unit": "counts/ms" if peak is None else "%",
        "times_s": [round(float(time_s), _DIGITS) for time_s in times_s],
        "series": series,
    }


def _baseline(reading: Reading, reference: Reading) -> float:
    """What was there before the dye: before the region's own rise, or before the reference's where it has none."""
    found = reading.baseline
    rise = reference.arrival_s or reference.rise.tenth_s
    if found is None and reading.series is not None and rise is not None:
        found = mean_before(reading.series, rise.value)
    return 0.0 if found is None else found.value


def _spread(times_s: F64, curve: RegionCurve, values: F64) -> list[float | None]:
    """A region that had left the picture has no value in that frame."""
    found: list[float | None] = [None] * times_s.size
    for at, value in zip(np.searchsorted(times_s, curve.times_s), values, strict=True):
        found[int(at)] = float(f"{value:.{_DIGITS}g}")
    return found
