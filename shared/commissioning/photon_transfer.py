"""Photon transfer: gain, read noise, full well and linearity from pairs of frames at rising exposures.

After EMVA 1288 (releases 3.1 and 4.0 Linear). The ring stays as it is and the exposure rises, so the light is known but for one
factor, and no figure here needs that factor; quantum efficiency would, and is not given.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from shared.bounded import Within
from shared.commissioning.line import line, through_origin
from shared.commissioning.stack import F64, same_size
from shared.errors import Refused
from shared.noise import QUANTISATION_COUNTS2
from shared.signal import Measured

LEAST_POINTS = 6
LEAST_IN_FIT = 4
FIT_TO_SHARE = 0.7
LINEAR_SHARES = (0.05, 0.95)
LEAST_RISE = 0.5
"""The brightest exposure has to reach this share of the converter's range."""
LEAST_DARK_VARIANCE = 0.24
"""Below this, in counts squared, rounding to whole counts hides the noise (EMVA 1288)."""


@dataclass(frozen=True)
class Exposed:
    """One exposure, lit and dark: means in counts, temporal variances in counts squared."""

    exposure_us: float
    mean: float
    variance: float
    dark_mean: float
    dark_variance: float

    @property
    def signal(self) -> float:
        """Mean above dark, counts."""
        return self.mean - self.dark_mean


@dataclass(frozen=True)
class PhotonTransfer:
    """Figures at the gain measured with. ``saturation_counts`` is the mean above dark where the variance is greatest; with
    ``reached_saturation`` false it is only the brightest that was seen, so full well is at least that.

    ``linearity_*_percent`` are the extreme deviations from a line, relative to it, between 5 and 95 % of saturation.
    """

    counts_per_electron: Annotated[float, Within(1e-6, 1000)]
    counts_per_electron_u: Annotated[float, Within(0, 1000)]
    read_noise_electrons: Annotated[float, Within(0, 1e5)]
    read_noise_electrons_u: Annotated[float, Within(0, 1e5)]
    read_noise_is_upper_bound: bool
    saturation_counts: Annotated[float, Within(0, 65535)]
    full_well_electrons: Annotated[float, Within(0, 1e9)]
    reached_saturation: bool
    linearity_low_percent: float
    linearity_high_percent: float
    exposures: int


def pair_variance(one: NDArray[np.number], other: NDArray[np.number]) -> float:
    """Temporal variance of a pixel, counts squared, from two frames of the same: half the mean squared difference, less that of
    the means (EMVA 1288). Raises Refused where the frames differ in size.
    """
    a, b = one.astype(np.float64), other.astype(np.float64)
    same_size([("the first frame", a), ("the second frame", b)])
    return float(np.mean((a - b) ** 2)) / 2 - float(a.mean() - b.mean()) ** 2 / 2


def exposed(
    exposure_us: float,
    lit: tuple[NDArray[np.number], NDArray[np.number]],
    dark: tuple[NDArray[np.number], NDArray[np.number]],
) -> Exposed:
    """A point of the curve from two lit and two dark frames, each (height, width) of counts."""
    means = [float(np.mean([one.mean(), other.mean()])) for one, other in (lit, dark)]
    return Exposed(exposure_us, means[0], pair_variance(*lit), means[1], pair_variance(*dark))


def photon_transfer(points: Sequence[Exposed], white_level: int) -> PhotonTransfer:
    """The curve's figures; ``points`` in any order. Raises Refused with the reason where they do not make a curve."""
    ordered = sorted(points, key=lambda one: one.exposure_us)
    _refuse_unfit(ordered, white_level)
    signal = np.array([one.signal for one in ordered])
    variance = np.array([one.variance - one.dark_variance for one in ordered])
    top = _saturation(np.array([one.variance for one in ordered]))
    reached = top < len(ordered) - 1
    fitted = signal <= FIT_TO_SHARE * signal[top]
    fitted[top:] = False
    if np.count_nonzero(fitted) < LEAST_IN_FIT:
        raise Refused(
            f"too few exposures below {FIT_TO_SHARE:.0%} of saturation",
            int(np.count_nonzero(fitted)),
            f"at least {LEAST_IN_FIT} are needed: dim the light or take a darker target",
        )
    gain = through_origin(signal[fitted], variance[fitted])
    read, hidden = _read_noise(ordered, gain)
    low, high = _linearity(ordered, signal, signal[top])
    return PhotonTransfer(
        counts_per_electron=gain.value,
        counts_per_electron_u=gain.u,
        read_noise_electrons=read.value,
        read_noise_electrons_u=read.u,
        read_noise_is_upper_bound=hidden,
        saturation_counts=float(signal[top]),
        full_well_electrons=float(signal[top]) / gain.value,
        reached_saturation=reached,
        linearity_low_percent=low,
        linearity_high_percent=high,
        exposures=len(ordered),
    )


def _refuse_unfit(points: Sequence[Exposed], white_level: int) -> None:
    if len(points) < LEAST_POINTS:
        raise Refused("too few exposures for a photon transfer curve", len(points), f"at least {LEAST_POINTS}")
    values = [(one.mean, one.variance, one.dark_mean, one.dark_variance) for one in points]
    if not np.isfinite(values).all():
        raise Refused("a photon transfer point is not a number", remedy="measure again")
    if len({one.exposure_us for one in points}) < len(points):
        raise Refused("two photon transfer points have one exposure", remedy="measure again")
    rise = max(one.signal for one in points) / (white_level - min(one.dark_mean for one in points))
    if rise < LEAST_RISE:
        raise Refused(
            "the brightest exposure is too dark for a photon transfer curve",
            f"{rise:.0%} of the converter's range",
            f"at least {LEAST_RISE:.0%} is needed: go nearer or take a brighter target",
        )
    growth = max(one.variance / max(one.dark_variance, QUANTISATION_COUNTS2) for one in points)
    if growth < 1.5:
        raise Refused(
            "the noise does not grow with the light", f"{growth:.2f} times", "light the target, by the ring alone"
        )


def _saturation(variance: F64) -> int:
    """Index of the greatest variance, looked for from the bright end: a bump far below does not count (EMVA 1288, 6.6)."""
    best = len(variance) - 1
    for index in range(len(variance) - 1, -1, -1):
        if variance[index] >= variance[best]:
            best = index
        elif variance[index] < 0.9 * variance[best] and index < best - 1:
            break
    return best


def _read_noise(points: Sequence[Exposed], gain: Measured) -> tuple[Measured, bool]:
    """Read noise, electrons: dark variance at no exposure, less rounding's, over K; and whether rounding hides it."""
    fit = line(np.array([one.exposure_us for one in points]), np.array([one.dark_variance for one in points]))
    variance = max(fit.offset.value, LEAST_DARK_VARIANCE)
    noise = math.sqrt(variance - QUANTISATION_COUNTS2)
    read = noise / gain.value
    u = math.hypot(fit.offset.u / (2 * noise) / gain.value, read * gain.u / gain.value)
    return Measured(read, u), fit.offset.value < LEAST_DARK_VARIANCE


def _linearity(points: Sequence[Exposed], signal: F64, saturation: float) -> tuple[float, float]:
    """Extreme relative deviations, percent, from the line that makes them least (EMVA 1288, release 4.0)."""
    low, high = LINEAR_SHARES
    used = (signal >= low * saturation) & (signal <= high * saturation)
    if np.count_nonzero(used) < 3:
        raise Refused("too few exposures between 5 and 95 % of saturation", int(np.count_nonzero(used)), "at least 3")
    exposure_us = np.array([one.exposure_us for one in points])[used]
    fit = line(exposure_us, signal[used], signal[used])
    expected = fit.offset.value + fit.slope.value * exposure_us
    deviation = 100 * (signal[used] - expected) / expected
    return float(deviation.min()), float(deviation.max())
