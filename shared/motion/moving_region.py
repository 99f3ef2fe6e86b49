"""A region that follows the tissue: its mean signal where a motion has put it, with a part of a pixel counting as that part."""

import math
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import Counts, Frame
from shared.motion.pose import Motion
from shared.region import Region
from shared.signal import Measured, RegionSignal, counts_variance

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class FollowingSignal:
    """Mean signal, and the share of the region that was in the picture and no defect; ``signal`` is None where that is none."""

    signal: RegionSignal | None
    seen_share: float


@dataclass(frozen=True, eq=False)
class RegionSampler:
    """What all regions of one camera share: (height, width) planes of dark counts, inverse flat and defects."""

    calibration: Calibration
    inverse_flat: F32

    @classmethod
    def of(cls, calibration: Calibration) -> Self:
        """Prepare the planes."""
        return cls(calibration, np.where(calibration.defects, np.float32(0), 1.0 / calibration.flat).astype(np.float32))


@dataclass(frozen=True, eq=False)
class MovingRegion:
    """A region's outline in the reference view. ``stencil`` is uint8 with two empty pixels round it, its first at (left, top)."""

    region: Region
    sampler: RegionSampler
    stencil: NDArray[np.uint8]
    left: int
    top: int

    @classmethod
    def of(cls, region: Region, sampler: RegionSampler) -> Self:
        """Draw the outline; raises Refused where no good pixel of it lies in the picture."""
        shape = sampler.calibration.camera.shape
        rows, columns = np.divmod(region.indices(shape), shape[1])
        if sampler.calibration.defects[rows, columns].all():
            raise Refused("every pixel of the region is a defect", len(rows), "choose a larger region")
        left, top = int(columns.min()) - 2, int(rows.min()) - 2
        stencil = np.zeros((int(rows.max()) - top + 3, int(columns.max()) - left + 3), np.uint8)
        stencil[rows - top, columns - left] = 1
        return cls(region, sampler, stencil, left, top)

    def signal(self, frame: Frame, motion: Motion) -> FollowingSignal:
        """Mean signal where ``motion`` (from the view of the outline to ``frame``) has put the region. Raises Refused when unlit.

        Each pixel counts by the bilinear share of the outline that covers it, a defect as the mean of the good pixels next to it.
        Left out, D of n pixels would cost s sqrt(D / (n (n - D))), in every frame alike, s being how much the tissue differs from
        pixel to pixel (Cochran 1977, Sampling Techniques, theorem 2.2; from memory). The uncertainty is the noise model's
        (``shared/signal.py``) for the weighted mean of the good pixels: some counting twice makes up for there being more of them.
        """
        calibration = self.sampler.calibration
        factor = calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level if frame.lit else 0.0)
        shape = calibration.camera.shape
        left, top, right, bottom = self._box(motion.to_frame(shape), shape)
        sums = np.zeros(6)
        _weigh(
            frame.pixels, calibration.dark_counts, self.sampler.inverse_flat, self.stencil,
            motion.back().to_frame(shape), (self.left, self.top), (left, top, right, bottom),
            calibration.saturation_counts, sums,
        )  # fmt: skip
        weight, counts, spread, constant, clipped, filled = (float(each) for each in sums)
        if weight <= 0:
            return FollowingSignal(None, 0.0)
        k = calibration.counts_per_electron * frame.gain
        own = float(counts_variance(0.0, frame.gain, calibration))
        u = math.sqrt(k * max(spread, 0.0) + own * constant) / weight
        measured = Measured(counts / (weight + filled) * factor, u * factor)
        whole = float(self.stencil.sum()) * motion.magnification**2
        return FollowingSignal(RegionSignal(measured, clipped / weight), min(weight / whole, 1.0))

    def slopes(self, frame: Frame, motion: Motion) -> tuple[float, float]:
        """By how much the signal would change a pixel if ``motion`` were farther to the right, and farther down."""
        return self._slope(frame, motion, (1.0, 0.0)), self._slope(frame, motion, (0.0, 1.0))

    def _slope(self, frame: Frame, motion: Motion, step_px: tuple[float, float]) -> float:
        right, down = step_px
        before, after = (
            self.signal(
                frame, replace(motion, dx_px=motion.dx_px + way * right, dy_px=motion.dy_px + way * down)
            ).signal
            for way in (-1, 1)
        )
        return 0.0 if before is None or after is None else 0.5 * (after.signal.value - before.signal.value)

    def _box(self, to_frame: F64, shape: tuple[int, int]) -> tuple[int, int, int, int]:
        """Left, top, right, bottom (exclusive) of the frame's pixels that the outline may cover."""
        height, width = self.stencil.shape
        xs = self.left + np.array([0, width - 1, 0, width - 1])
        ys = self.top + np.array([0, 0, height - 1, height - 1])
        x, y = to_frame @ np.array([xs, ys, np.ones(4)])
        return (
            max(math.floor(x.min()), 0),
            max(math.floor(y.min()), 0),
            min(math.ceil(x.max()) + 1, shape[1]),
            min(math.ceil(y.max()) + 1, shape[0]),
        )


@njit(cache=True, nogil=True)
def _beside(pixels: Counts, dark: F32, inverse_flat: F32, row: int, column: int) -> float:
    """Mean of c / flat over the nearest square ring round a defect that holds a good pixel, as ``DefectSources`` has it."""
    height, width = pixels.shape
    for reach in range(1, max(height, width)):
        total, good = 0.0, 0
        for y in range(max(row - reach, 0), min(row + reach + 1, height)):
            for x in range(max(column - reach, 0), min(column + reach + 1, width)):
                inverse = np.float64(inverse_flat[y, x])
                if inverse != 0:
                    total += (np.float64(pixels[y, x]) - dark[y, x]) * inverse
                    good += 1
        if good:
            return total / good
    return 0.0


@njit(cache=True, nogil=True)
def _weigh(
    pixels: Counts,
    dark: F32,
    inverse_flat: F32,
    stencil: NDArray[np.uint8],
    to_reference: F64,
    corner: tuple[int, int],
    box: tuple[int, int, int, int],
    saturation: int,
    sums: F64,
) -> None:
    """Sums of weight w, w c / flat, w^2 c / flat^2, w^2 / flat^2 and of w of saturated pixels, of good pixels; and of w of defects,
    whose inverse flat is 0 and whose w c / flat is in the second sum.
    """
    height, width = stencil.shape
    left, top, right, bottom = box
    for row in range(top, bottom):
        x0 = to_reference[0, 1] * row + to_reference[0, 2] - corner[0]
        y0 = to_reference[1, 1] * row + to_reference[1, 2] - corner[1]
        for column in range(left, right):
            x, y = x0 + to_reference[0, 0] * column, y0 + to_reference[1, 0] * column
            if x < 0 or y < 0 or x >= width - 1 or y >= height - 1:
                continue
            i, j = int(y), int(x)
            a, b = y - i, x - j
            upper = stencil[i, j] + b * (np.float64(stencil[i, j + 1]) - stencil[i, j])
            lower = stencil[i + 1, j] + b * (np.float64(stencil[i + 1, j + 1]) - stencil[i + 1, j])
            weight = upper + a * (lower - upper)
            inverse = np.float64(inverse_flat[row, column])
            if weight <= 0:
                continue
            if inverse == 0:
                sums[1] += weight * _beside(pixels, dark, inverse_flat, row, column)
                sums[5] += weight
                continue
            counts = (np.float64(pixels[row, column]) - dark[row, column]) * inverse
            sums[0] += weight
            sums[1] += weight * counts
            sums[2] += weight * weight * counts * inverse
            sums[3] += weight * weight * inverse * inverse
            if pixels[row, column] >= saturation:
                sums[4] += weight
