"""A region that follows the tissue: its mean signal where a motion has put it, with a part of a pixel counting as that part."""

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Self

import numpy as np
from numba import njit
from numpy.typing import NDArray

import shared.motion.resample
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import Counts, Frame
from shared.lanes import borrowed, compiler
from shared.motion.pose import Motion
from shared.motion.resample import run_from, seen_columns
from shared.region import Region
from shared.signal import Measured, RegionSignal, counts_variance

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

compiled = compiler(Path(__file__), Path(shared.motion.resample.__file__), reorder=True)


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
    """A region's outline in the reference view. ``stencil`` is uint8 with two empty pixels round it, its first at (left, top);
    ``pixels`` of it are not empty.
    """

    region: Region
    sampler: RegionSampler
    stencil: NDArray[np.uint8]
    left: int
    top: int
    pixels: int

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
        return cls(region, sampler, stencil, left, top, int(np.count_nonzero(stencil)))

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
            calibration.saturation_counts, np.empty(shape[1]), sums,
        )  # fmt: skip
        weight, counts, spread, constant, clipped, filled = (float(each) for each in sums)
        if weight <= 0:
            return FollowingSignal(None, 0.0)
        k = calibration.counts_per_electron * frame.gain
        own = float(counts_variance(0.0, frame.gain, calibration))
        u = math.sqrt(k * max(spread, 0.0) + own * constant) / weight
        measured = Measured(counts / (weight + filled) * factor, u * factor)
        whole = self.pixels * motion.magnification**2
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
        corners = [(x, y) for x in (self.left, self.left + width - 1) for y in (self.top, self.top + height - 1)]
        xs, ys = ([a * x + b * y + c for x, y in corners] for a, b, c in to_frame.tolist())
        return (
            max(math.floor(min(xs)), 0),
            max(math.floor(min(ys)), 0),
            min(math.ceil(max(xs)) + 1, shape[1]),
            min(math.ceil(max(ys)) + 1, shape[0]),
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


@compiled
def _weigh(
    pixels: Counts,
    dark: F32,
    inverse_flat: F32,
    stencil: NDArray[np.uint8],
    to_reference: F64,
    corner: tuple[int, int],
    box: tuple[int, int, int, int],
    saturation: int,
    weights: F64,
    sums: F64,
) -> None:
    """Sums of weight w, w c / flat, w^2 c / flat^2, w^2 / flat^2 and of w of saturated pixels, of good pixels; and of w of defects,
    whose inverse flat is 0 and whose w c / flat is in the second sum. ``weights`` is room for a row of the picture.
    """
    height, width = stencil.shape
    left, top, right, bottom = box
    # without owners: rows cut out of them would cost a reference count each
    pixels, dark, inverse_flat = borrowed(pixels), borrowed(dark), borrowed(inverse_flat)
    stencil, weights = borrowed(stencil), borrowed(weights)
    across, down = to_reference[0, 0], to_reference[1, 0]
    for row in range(top, bottom):
        x0 = to_reference[0, 1] * row + to_reference[0, 2] - corner[0]
        y0 = to_reference[1, 1] * row + to_reference[1, 2] - corner[1]
        begin, end = seen_columns(x0, y0, across, down, height, width, left, right)
        _cover(stencil, x0, y0, across, down, begin, end, weights)
        here = slice(begin, max(end, begin))
        if _add_row(pixels[row, here], dark[row, here], inverse_flat[row, here], weights[here], saturation, sums):
            for column in range(begin, end):
                if inverse_flat[row, column] == 0 and weights[column] > 0:
                    sums[1] += weights[column] * _beside(pixels, dark, inverse_flat, row, column)


@njit(inline="always")
def _cover(
    stencil: NDArray[np.uint8], x0: float, y0: float, across: float, down: float, begin: int, end: int, weights: F64
) -> None:
    """How much the outline covers of each pixel from ``begin`` to ``end``; pixel k lies in it at (x0 + across k, y0 + down k).

    In runs over which the same pixels of the outline follow one another, as ``sample_row`` has it, but in full precision.
    """
    height, width = stencil.shape
    k = begin
    while k < end:
        x, y = x0 + across * k, y0 + down * k
        i, j, run = run_from(x, y, across, down, height, width, end - k)
        upper, lower, target = stencil[i, j:], stencil[i + 1, j:], weights[k:]
        for n in range(run):
            b, a = x - j + (across - 1.0) * n, y - i + down * n
            first = upper[n] + b * (np.float64(upper[n + 1]) - np.float64(upper[n]))
            second = lower[n] + b * (np.float64(lower[n + 1]) - np.float64(lower[n]))
            target[n] = first + a * (second - first)
        k += run


@compiled
def _add_row(counts: Counts, dark: F32, inverse_flat: F32, weights: F64, saturation: int, sums: F64) -> bool:
    """Add a part of a row of the picture to the sums that ``_weigh`` describes; returns whether there is a defect in it."""
    weight, mean, spread, constant, clipped, filled = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    limit = np.int32(saturation)
    for k in range(weights.size):
        w, inverse = weights[k], np.float64(inverse_flat[k])
        by_flat = (np.float64(counts[k]) - np.float64(dark[k])) * inverse
        good = w if inverse != 0.0 else 0.0
        weight += good
        filled += w if inverse == 0.0 else 0.0
        mean += w * by_flat
        spread += w * w * by_flat * inverse
        constant += w * w * inverse * inverse
        clipped += good if np.int32(counts[k]) >= limit else 0.0
    for k, each in enumerate((weight, mean, spread, constant, clipped, filled)):
        sums[k] += each
    return filled > 0.0
