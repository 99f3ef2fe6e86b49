"""Pulse-width dimming as an exposure sees it: whole pulses, and the part of one at each end."""

import numpy as np
from numpy.typing import NDArray


def on_share(
    start_s: NDArray[np.floating], exposure_s: float, duty: NDArray[np.floating] | float, pwm_hz: float
) -> NDArray[np.float64]:
    """Share of each exposure during which a square wave of ``duty`` (high first, phase 0 at time 0) is high; exact.

    ``pwm_hz`` 0 means steady current: the share is the duty. Its ripple over all phases is P min(d, 1-d, f, 1-f) / exposure with
    P the period and f the fraction of a period left over (own derivation).
    """
    duties = np.broadcast_to(np.asarray(duty, np.float64), start_s.shape)
    if pwm_hz == 0:
        return duties.copy()
    begin = np.asarray(start_s * pwm_hz, np.float64)
    end = begin + exposure_s * pwm_hz
    return np.asarray((_on_periods(end, duties) - _on_periods(begin, duties)) / (exposure_s * pwm_hz))


def _on_periods(periods: NDArray[np.float64], duty: NDArray[np.float64]) -> NDArray[np.float64]:
    whole = np.floor(periods)
    return np.asarray(whole * duty + np.minimum(periods - whole, duty))
