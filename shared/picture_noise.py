"""How uncertain the live picture's values are: the noise of frames carried through steadying, slow mean and smoothing.

A pixel's variance is linear in its signal (photon transfer, EMVA 1288), so that two numbers a frame hold it for every pixel, and
each mean of frames mixes these two as it mixes the frames.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.noise import variance_counts2

F64 = NDArray[np.float64]


@dataclass(frozen=True)
class Noise:
    """Variance of a corrected pixel: (``shot`` x signal + ``still`` / flat) / flat, in signal squared."""

    shot: float = 0.0
    still: float = 0.0

    def __add__(self, other: "Noise") -> "Noise":
        """Of a sum or difference of two independent signals."""
        return Noise(self.shot + other.shot, self.still + other.still)

    def __mul__(self, share: float) -> "Noise":
        """What is left of the variance when a mean keeps this share of it."""
        return Noise(self.shot * share, self.still * share)

    def variance(self, signal: F64 | float, inverse_flat: NDArray[np.floating]) -> F64:
        """Of pixels with these signals; a signal below 0 counts as 0."""
        return np.asarray((self.shot * np.maximum(signal, 0.0) + self.still * inverse_flat) * inverse_flat, np.float64)


NO_NOISE = Noise()


def frame_noise(calibration: Calibration, gain: float, factor: float, ambient_counts: float = 0.0) -> Noise:
    """Of one frame whose corrected counts times ``factor`` are signal, with so many counts of ambient light in every pixel."""
    k = calibration.counts_per_electron * gain
    still = variance_counts2(ambient_counts, k, calibration.read_noise_electrons)
    return Noise(shot=k * factor, still=still * factor**2)


@dataclass
class SteadiedNoise:
    """Of a recursive mean that keeps the share ``kept`` of what was before."""

    kept: float
    noise: Noise | None = None

    def restart(self) -> None:
        """The next frame stands alone."""
        self.noise = None

    def take(self, frame: Noise) -> Noise:
        """Mix a frame in; returns the mean's noise."""
        mixed = frame if self.noise is None else self.noise * self.kept**2 + frame * (1.0 - self.kept) ** 2
        self.noise = mixed
        return mixed


@dataclass
class SlowMeanNoise:
    """Of a recursive mean of steadied frames; ``alike`` is the correlation of two that follow each other into it.

    Of a recursive mean that is what it keeps, to the power of the frames between (first-order autoregression).
    """

    alike: float
    noise: Noise = NO_NOISE
    _in_common: Noise = NO_NOISE

    def restart(self) -> None:
        """Begin anew."""
        self.noise = self._in_common = NO_NOISE

    def take(self, steadied: Noise, share: float) -> None:
        """Mix a steadied frame in with ``share``; what it has in common with the mean is the covariance of a first-order mean."""
        kept = 1.0 - share
        self.noise = self.noise * kept**2 + steadied * share**2 + self._in_common * (2.0 * share * kept)
        self._in_common = (self._in_common * kept + steadied * share) * self.alike


@dataclass(frozen=True)
class PercentNoise:
    """Standard uncertainty of percent of a reference (JCGM 100:2008, GUM, 5.1.2), for pixels of a picture.

    ``pixel`` is the noise of the shown signal, ``baseline`` that of what is taken off it, ``reference`` the reference above its
    baseline and ``reference_u`` its standard uncertainty, all in signal units.
    """

    pixel: Noise
    reference: float
    reference_u: float = 0.0
    baseline: Noise = NO_NOISE

    def own_variance(self, percent: F64, inverse_flat: NDArray[np.floating], baseline: F64 | float = 0.0) -> F64:
        """Percent squared: of the pixels alone, as if the reference were exact; a pixel below its baseline counts as at it."""
        above, below = np.maximum(percent, 0.0) * (self.reference / 100.0), np.maximum(baseline, 0.0)
        variance = self.pixel.variance(above + below, inverse_flat) + self.baseline.variance(below, inverse_flat)
        result: F64 = variance * (100.0 / self.reference) ** 2
        return result

    def variance(self, percent: F64, inverse_flat: NDArray[np.floating], baseline: F64 | float = 0.0) -> F64:
        """Percent squared: of the pixels and of the reference, which all of them share."""
        return self.own_variance(percent, inverse_flat, baseline) + (self.relative_u * percent) ** 2

    @property
    def relative_u(self) -> float:
        """The reference's standard uncertainty as a share of it."""
        return self.reference_u / self.reference
