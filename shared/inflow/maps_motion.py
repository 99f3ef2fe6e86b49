"""A frame that the hand has moved, added to the bins where its tissue lay in the reference view: DECISION-motion.md says why.

Dark, flat, exposure and light belong to the camera's pixels and are taken out first, where they lie; then the bins are read at the
places to which the motion has carried them, to a fraction of a bin and turned.
"""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import shared.motion.resample
from shared.calibration import Calibration
from shared.lanes import compiler
from shared.motion.pose import Motion
from shared.motion.resample import run_from, seen_columns
from shared.signal import DefectSources

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

compiled = compiler(Path(__file__), Path(shared.motion.resample.__file__), reorder=True)
_GRID = 21
"""Places a side at which the share of noise is worked out."""


def bins_to_frame(motion: Motion, picture_shape: tuple[int, int]) -> F64:
    """(2, 3) matrix from the reference view's bins (x, y, 1) to bins of the frame; ``picture_shape`` (height, width) in pixels.

    The middle of bin b lies at pixel 2 b + 1/2.
    """
    matrix = motion.to_frame(picture_shape)
    matrix[:, 2] = (matrix[:, 2] + 0.5 * matrix[:, :2].sum(axis=1) - 0.5) / 2.0
    return matrix


def noise_kept(to_frame: F64, shape: tuple[int, int]) -> float:
    """Share of a bin's variance that interpolation leaves, on average over a (height, width) plane of bins: 4/9 to 1."""
    y, x = (np.rint(np.linspace(0.0, side - 1.0, _GRID)) for side in shape)
    across = np.mod(to_frame[0, 0] * x[:, np.newaxis] + to_frame[0, 1] * y + to_frame[0, 2], 1.0)
    down = np.mod(to_frame[1, 0] * x[:, np.newaxis] + to_frame[1, 1] * y + to_frame[1, 2], 1.0)
    squares = (across**2 + (1.0 - across) ** 2) * (down**2 + (1.0 - down) ** 2)
    return float(squares.mean())


class MovedBins:
    """Adds frames of one camera that the hand has moved. Keeps one plane of bins, 4 bytes a bin."""

    def __init__(self, calibration: Calibration, dark: F32, inverse_flat: F32, defects: NDArray[np.int32]) -> None:
        """``dark`` and ``inverse_flat``, (height, width), as in ``Bins``; ``defects`` (n, 2) rows and columns of pixels."""
        self._shape = calibration.camera.shape
        self._limit = np.uint32(calibration.saturation_counts)
        self._dark, self._inverse_flat, self._defects = dark, inverse_flat, defects
        self._unseeing = DefectSources.around(inverse_flat == 0)
        self._plane = np.empty(dark.shape, np.float32)

    def add(
        self,
        pairs: NDArray[np.uint32],
        motion: Motion,
        factor: float,
        signal: F32,
        seen: NDArray[np.uint16],
        clipped: NDArray[np.uint16],
    ) -> tuple[bool, float]:
        """Add a frame to sums of signal, of frames, and of saturated pixels, (height, width) each.

        ``pairs`` are two raw pixels a word, ``factor`` turns counts into signal. Returns whether any pixel is saturated, and the
        share of a bin's variance that interpolation leaves.
        """
        to_frame, to_reference = (bins_to_frame(each, self._shape) for each in (motion, motion.back()))
        planes = self._dark, self._inverse_flat
        number = correct_frame(pairs, self._defects, self._limit, *planes, factor, to_reference, self._plane, clipped)
        self._unseeing.replace(self._plane)
        add_moved(self._plane, to_frame, signal, seen)
        return number > 0, noise_kept(to_frame, signal.shape)


@compiled
def correct_frame(pairs, defects, limit, dark, inverse_flat, factor, to_reference, plane, clipped):
    """Signal of a frame's bins into ``plane`` (height, width) float32, 0 where none of a bin's pixels is good.

    ``pairs`` (2 height, width) uint32 are two pixels each; ``defects`` (n, 2) rows and columns, which count for nothing; ``dark``
    and ``inverse_flat`` as in ``Bins``. Saturated pixels are added to ``clipped`` (height, width) uint16, at the bin nearest to
    where ``to_reference`` (2, 3) puts their own. Returns how many there are.
    """
    height, width = plane.shape
    low, high, scale = np.uint32(0xFFFF), np.uint32(16), np.float32(factor)
    number = 0
    for y in range(height):
        largest = np.uint32(0)
        for x in range(width):
            a, b = pairs[2 * y, x], pairs[2 * y + 1, x]
            a_low, a_high, b_low, b_high = a & low, a >> high, b & low, b >> high
            plane[y, x] = (np.float32(a_low + a_high + b_low + b_high) - dark[y, x]) * (inverse_flat[y, x] * scale)
            largest = max(largest, max(max(a_low, a_high), max(b_low, b_high)))
        if largest >= limit:
            for x in range(width):
                a, b = pairs[2 * y, x], pairs[2 * y + 1, x]
                over = ((a & low) >= limit) + ((a >> high) >= limit) + ((b & low) >= limit) + ((b >> high) >= limit)
                if over:
                    number += over
                    _mark(clipped, to_reference, y, x, over)
    for i in range(defects.shape[0]):
        row, column = defects[i, 0], defects[i, 1]
        y, x = row >> 1, column >> 1
        value = pairs[row, x] >> high if column & 1 else pairs[row, x] & low
        plane[y, x] -= np.float32(value) * (inverse_flat[y, x] * scale)
        if value >= limit:
            number -= 1
            _mark(clipped, to_reference, y, x, -1)
    return number


@compiled
def _mark(clipped, to_reference, y, x, number):
    i = math.floor(to_reference[1, 0] * x + to_reference[1, 1] * y + to_reference[1, 2] + 0.5)
    j = math.floor(to_reference[0, 0] * x + to_reference[0, 1] * y + to_reference[0, 2] + 0.5)
    if 0 <= i < clipped.shape[0] and 0 <= j < clipped.shape[1]:
        clipped[i, j] = np.uint16(clipped[i, j] + number)


@compiled
def add_moved(plane, to_frame, signal, seen):
    """Add ``plane``, read where ``to_frame`` (2, 3) puts each bin, to ``signal``, and 1 to ``seen``, where the frame shows it."""
    height, width = signal.shape
    across, down = to_frame[0, 0], to_frame[1, 0]
    one, right_step, below_step = np.uint16(1), np.float32(across - 1.0), np.float32(down)
    for row in range(height):
        x0 = to_frame[0, 1] * row + to_frame[0, 2]
        y0 = to_frame[1, 1] * row + to_frame[1, 2]
        k, end = seen_columns(x0, y0, across, down, height, width, 0, width)
        while k < end:
            x, y = x0 + across * k, y0 + down * k
            i, j, run = run_from(x, y, across, down, height, width, end - k)
            upper, lower = plane[i, j : j + run + 1], plane[i + 1, j : j + run + 1]
            target, count = signal[row, k : k + run], seen[row, k : k + run]
            right, below = np.float32(x - j), np.float32(y - i)
            for n in range(run):
                b, a = right + right_step * np.float32(n), below + below_step * np.float32(n)
                first = upper[n] + b * (upper[n + 1] - upper[n])
                second = lower[n] + b * (lower[n + 1] - lower[n])
                target[n] += first + a * (second - first)
            for n in range(run):
                count[n] += one
            k += run
