"""From raw counts to signal: dark, flat, defects, exposure, gain and light; and how sure a mean of pixels is.

The noise is that of the photon transfer model (EMVA 1288, Release 4.0 Linear, its equations for the variance of the grey
value): variance = K (counts - dark) + K^2 read^2 + 1/12, K in counts per electron at the gain in use.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import Counts, Frame
from shared.noise import variance_counts2

SATURATED_SHARE = 0.005
"""A region with more of its pixels saturated than this has no trustworthy mean."""


@dataclass(frozen=True)
class Measured:
    """A value and its standard uncertainty, in the same unit."""

    value: float
    u: float

    @property
    def signal_to_noise(self) -> float:
        """Value over uncertainty; infinite for an exact value."""
        return self.value / self.u if self.u > 0 else math.inf


@dataclass(frozen=True, eq=False)
class DefectSources:
    """For each defect, the good pixels whose mean stands in for it.

    ``pixels`` (n,) flat indices, rising; ``starts`` (n + 1,) offsets into ``sources``, flat indices of the good pixels.
    """

    pixels: NDArray[np.int32]
    starts: NDArray[np.int32]
    sources: NDArray[np.int32]

    @classmethod
    def around(cls, defects: NDArray[np.bool_]) -> Self:
        """Nearest square ring that holds a good pixel: the eight neighbours, else the 5 x 5 ring, and so on."""
        pixels = np.flatnonzero(defects)
        if len(pixels) == defects.size:
            raise Refused("every pixel is marked as a defect", defects.shape, "calibrate again")
        found = [_nearest_good(defects, *divmod(int(pixel), defects.shape[1])) for pixel in pixels]
        starts = np.cumsum([0, *map(len, found)])
        sources = np.concatenate([*found, np.empty(0, np.intp)])
        return cls(pixels.astype(np.int32), starts.astype(np.int32), sources.astype(np.int32))

    def replace(self, plane: NDArray[np.floating]) -> None:
        """Overwrite the defects of a (height, width) plane with the means of their sources, in place."""
        if len(self.pixels):
            flat = plane.reshape(-1)
            sums = np.add.reduceat(flat[self.sources], self.starts[:-1])
            flat[self.pixels] = sums / np.diff(self.starts)


def _nearest_good(defects: NDArray[np.bool_], y: int, x: int) -> NDArray[np.intp]:
    height, width = defects.shape
    for reach in range(1, max(height, width)):
        top, left = max(y - reach, 0), max(x - reach, 0)
        good = ~defects[top : y + reach + 1, left : x + reach + 1]
        if good.any():
            rows, columns = np.nonzero(good)
            indices: NDArray[np.intp] = (rows + top) * width + columns + left
            return indices
    raise AssertionError("a good pixel exists")


def corrected_counts(pixels: Counts, calibration: Calibration, sources: DefectSources) -> NDArray[np.float64]:
    """Counts above dark over the flat, (height, width) float64, defects replaced by the mean of their good neighbours."""
    counts = (pixels.astype(np.float64) - calibration.dark_counts) / calibration.flat
    sources.replace(counts)
    return counts


def signal(frame: Frame, calibration: Calibration, sources: DefectSources) -> NDArray[np.float64]:
    """Corrected counts a millisecond at unit gain and full light, (height, width) float64. Raises Refused when unlit."""
    factor = calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level if frame.lit else 0.0)
    return corrected_counts(frame.pixels, calibration, sources) * factor


def saturated(pixels: Counts, calibration: Calibration) -> NDArray[np.bool_]:
    """Pixels at or above the saturation count, defects left out, (height, width)."""
    return (pixels >= calibration.saturation_counts) & ~calibration.defects


def counts_variance(counts: NDArray[np.floating] | float, gain: float, calibration: Calibration) -> NDArray[np.float64]:
    """Variance of a single pixel's count, in counts squared; ``counts`` above dark, before the flat (EMVA 1288)."""
    k = calibration.counts_per_electron * gain
    return np.asarray(variance_counts2(np.asarray(counts, np.float64), k, calibration.read_noise_electrons))


@dataclass(frozen=True, eq=False)
class RegionPixels:
    """The good pixels of a region with their calibration, gathered once so that a frame costs little.

    ``indices`` (n,) flat indices; ``dark_counts``, ``inverse_flat`` and its ``squares`` (n,) float32; ``sum_of_squares``.
    """

    indices: NDArray[np.intp]
    dark_counts: NDArray[np.float32]
    inverse_flat: NDArray[np.float32]
    squares: NDArray[np.float32]
    sum_of_squares: float

    @classmethod
    def gathered(cls, indices: NDArray[np.intp], calibration: Calibration) -> Self:
        """Leave the defects out; raises Refused when nothing remains."""
        good = indices[~calibration.defects.reshape(-1)[indices]]
        if not len(good):
            raise Refused("every pixel of the region is a defect", len(indices), "choose a larger region")
        dark = calibration.dark_counts.reshape(-1)[good]
        inverse = 1.0 / calibration.flat.reshape(-1)[good]
        squares = inverse * inverse
        return cls(good, dark, inverse, squares, float(squares.sum()))


@dataclass(frozen=True)
class RegionSignal:
    """Mean signal of a region in one frame. ``saturated_share`` is the part of its pixels at or above saturation."""

    signal: Measured
    saturated_share: float

    @property
    def is_saturated(self) -> bool:
        """Too many saturated pixels for the mean to be trusted."""
        return self.saturated_share > SATURATED_SHARE


Sums = Callable[[Counts, RegionPixels, int], tuple[float, float, int]]


def region_sums(pixels: Counts, region: RegionPixels, saturation_counts: int) -> tuple[float, float, int]:
    """Counts above dark over the flat, and over its square, summed up; how many pixels are saturated.

    ``pixels`` is the whole frame, (n,) uint16.
    """
    raw = pixels[region.indices]
    counts = raw - region.dark_counts
    by_flat, by_square = float(np.dot(counts, region.inverse_flat)), float(np.dot(counts, region.squares))
    return by_flat, by_square, int(np.count_nonzero(raw >= saturation_counts))


def region_signal(
    frame: Frame, region: RegionPixels, calibration: Calibration, sums: Sums = region_sums
) -> RegionSignal:
    """Mean signal of a region with its standard uncertainty from the noise model. Raises Refused when unlit."""
    factor = calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level if frame.lit else 0.0)
    by_flat, by_square, clipped = sums(frame.pixels.reshape(-1), region, calibration.saturation_counts)
    number = len(region.indices)
    k = calibration.counts_per_electron * frame.gain
    constant = variance_counts2(0.0, k, calibration.read_noise_electrons)
    variance = (k * max(by_square, 0.0) + constant * region.sum_of_squares) / number**2
    return RegionSignal(Measured(by_flat / number * factor, math.sqrt(variance) * factor), clipped / number)
