"""A frame that the hand has moved, added to the bins where its tissue lay in the reference view: DECISION-motion.md says why.

Each bin takes those 2 x 2 pixels that lie nearest to where the motion, shift and rotation, has carried it. Nothing is interpolated:
a frame is off by at most half a pixel, which tremor spreads evenly, and every bin keeps its own noise. Dark and flat belong to the
camera's pixels, and so are those of the four that are taken.
"""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

import math
from collections.abc import Sequence
from copy import copy
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import Counts
from shared.inflow.maps_compiled import compiled
from shared.inflow.maps_pairs import pair_at
from shared.lanes import borrowed
from shared.motion.pose import Motion

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
U16 = NDArray[np.uint16]

_MOST_STEPS = 65535.0
TOGETHER = 8
"""Frames that are added in one go, so that the sums are not fetched anew for each."""
_ROWS = 16
"""Of bins that are gone through at a time: their sums, what is known of their pixels, and a frame's pixels fill 0.3 MB."""
_LOTS = (0.7548776662466927, 0.5698402909980532)
"""The plastic number's inverse and its square: their multiples, modulo 1, fill a square evenly (M. Roberts 2018; from memory)."""


class MovedFrame(NamedTuple):
    """Raw ``pixels`` (rows, columns), ``places`` of ``places_in_frame``, and the ``factor`` that turns counts into signal."""

    pixels: Counts
    places: F64
    factor: float


def places_in_frame(motion: Motion, picture_shape: tuple[int, int]) -> F64:
    """(2, 3) matrix from bins (x, y, 1) of the reference view to pixels of the frame: where the first of a bin's four lies.

    Bins keep upright and are carried by their middles, which lie at pixel 2 b + 1/2; ``picture_shape`` (height, width) in pixels.
    """
    matrix = motion.to_frame(picture_shape)
    matrix[:, 2] += 0.5 * matrix[:, :2].sum(axis=1) - 0.5
    matrix[:, :2] *= 2.0
    return matrix


def lie_still(places: F64, shape: tuple[int, int]) -> bool:
    """Whether every bin of (height, width) takes the pixels that it takes of the reference view itself."""
    corners = np.array([(x, y, 1) for x in (0, shape[1] - 1) for y in (0, shape[0] - 1)])
    return bool((np.floor(corners @ places.T + 0.5) == 2 * corners[:, :2]).all())


def rounding_px(motion: Motion) -> tuple[float, float]:
    """By how much too far to the right and down the middle of the picture is read."""
    right, down = motion.dx_px, motion.dy_px
    return math.floor(right + 0.5) - right, math.floor(down + 0.5) - down


class _Steps(NamedTuple):
    """A plane in whole steps: ``low`` + ``step`` x ``numbers``. Half a 65535th of its range is lost at most."""

    numbers: U16
    low: float
    step: float

    @classmethod
    def of(cls, plane: F32, low: float) -> "_Steps":
        """``low`` is the least value or less."""
        step = max(float(plane.max()) - low, 1e-30) / _MOST_STEPS
        return cls(np.rint((plane - low) / step).astype(np.uint16), low, step)


class MovedBins:
    """Adds frames of one camera that the hand has moved. Keeps dark, flat and number of every 2 x 2 pixels, 20 bytes a bin."""

    def __init__(self, calibration: Calibration, defects: NDArray[np.int32]) -> None:
        """``defects`` (n, 2) rows and columns of pixels, which count for nothing."""
        good = ~calibration.defects
        self._limit, self._defects, self._bad = np.uint32(calibration.saturation_counts), defects, calibration.defects
        flat = _of_fours(np.where(good, calibration.flat, np.float32(0)))
        self._inverse = _Steps.of(np.divide(np.float32(1), flat, out=np.zeros_like(flat), where=flat > 0), 0.0)
        self._good = _of_fours(good.astype(np.float32)).astype(np.uint8)
        dark = _of_fours(np.where(good, calibration.dark_counts, np.float32(0)))
        self._own_dark = self._dark = _Steps.of(dark, float(dark.min()))
        self._sampled = 0

    def anew(self) -> Self:
        """The same for another run, no ambient light taken off yet; at once, where making one takes as long as some frames."""
        other = copy(self)
        other._dark, other._sampled = self._own_dark, 0
        return other

    def suit(self, ambient: F32) -> None:
        """From now on take counts of ``ambient`` off too, (height, width) sums over the good pixels of each bin."""
        own, good = self._own_dark, self._good
        pixel = np.where(good[0, 0] > 0, ambient / np.maximum(good[0, 0], 1), ambient.mean() / 4).astype(np.float32)
        least, most = 4 * min(float(pixel.min()), 0.0), 4 * max(float(pixel.max()), 0.0)
        step = (_MOST_STEPS * own.step + most - least) / _MOST_STEPS
        numbers = np.empty_like(own.numbers)
        with_ambient(own.numbers, np.float32(own.step), pixel, good, np.float32(least), np.float32(1 / step), numbers)
        self._dark = _Steps(numbers, own.low + least, step)

    def add(self, frames: Sequence[MovedFrame], signal: F32, seen: U16, clipped: U16) -> bool:
        """Add up to ``TOGETHER`` raw frames to sums of signal, of frames, and of saturated pixels, (height, width) of bins each.

        Returns whether any pixel is saturated.
        """
        planes = self._dark.numbers, self._inverse.numbers
        low, step = self._dark.low, self._dark.step
        steps = np.array([(low, step, self._inverse.step * frame.factor) for frame in frames], np.float32)
        places = np.array([frame.places for frame in frames])
        # one kind of argument for any number of frames, and for those that may be written too
        pixels = tuple(_read_only(frames[min(k, len(frames) - 1)].pixels) for k in range(TOGETHER))
        return bool(add_fours(pixels, planes, steps, self._limit, self._defects, places, signal, seen, clipped))

    def sample(self, frame: MovedFrame, every: int, held_px: tuple[float, float], sums: F32) -> None:
        """Add signal, and signal times ``held_px``, of a bin ``every`` so many rows and columns to ``sums`` (3, rows, columns).

        nan where the frame does not show a bin. Which of the pixels that it lies between a bin takes is drawn by lot: the nearest
        would be off by what goes with the place, and of a tremor as small as a pixel that would be most of what is told.
        """
        planes = self._dark.numbers, self._inverse.numbers
        steps = np.array((self._dark.low, self._dark.step, self._inverse.step * frame.factor))
        pixels = _read_only(frame.pixels)
        add_sampled(pixels, planes, steps, self._bad, frame.places, self._sampled, every, held_px, sums)
        self._sampled += 1


def _read_only(pixels: Counts) -> Counts:
    view = np.ascontiguousarray(pixels).view()
    view.flags.writeable = False
    return view


def _of_fours(plane: F32) -> F32:
    """Sums of every 2 x 2 pixels, (2, 2, height, width): those that begin at even and odd rows and columns; 0 beyond the edge."""
    rows, columns = plane.shape
    sums = np.zeros((2, 2, rows // 2, columns // 2), np.float32)
    for down in (0, 1):
        for right in (0, 1):
            height, width = (rows - down) // 2, (columns - right) // 2
            cut = plane[down : down + 2 * height, right : right + 2 * width]
            sums[down, right, :height, :width] = cut.reshape(height, 2, width, 2).sum(axis=(1, 3))
    return sums


@compiled
def with_ambient(own, own_step, pixel, good, least, per_step, numbers):
    """Steps of the dark of every 2 x 2 pixels, and of the ambient light of the bins round them; ``pixel`` is that of one pixel."""
    height, width = pixel.shape
    half, quarter = np.float32(0.5), np.float32(0.25)
    for down in range(2):
        for right in range(2):
            for y in range(height):
                upper, lower = pixel[y], pixel[min(y + down, height - 1)]
                for x in range(width):
                    beside = min(x + right, width - 1)
                    mean = quarter * (upper[x] + upper[beside] + lower[x] + lower[beside])
                    counts = own_step * np.float32(own[down, right, y, x]) + mean * np.float32(good[down, right, y, x])
                    numbers[down, right, y, x] = np.uint16((counts - least) * per_step + half)


@compiled
def nearest(places, x, y):
    """Row and column of the first of the four pixels that bin (y, x) takes."""
    return before(places, x, y, 0.5, 0.5)


@compiled
def before(places, x, y, down_px, right_px):
    """The same for the pixels before the place that is so far down and to the right of the bin's."""
    down = places[1, 0] * x + places[1, 1] * y + places[1, 2]
    right = places[0, 0] * x + places[0, 1] * y + places[0, 2]
    return math.floor(down + down_px), math.floor(right + right_px)


@compiled
def add_fours(frames, planes, steps, limit, defects, places, signal, seen, clipped):
    """Add every bin's four pixels of each frame that has ``steps`` and ``places``, without the defects; see ``MovedBins``."""
    height, width = signal.shape
    any_clipped = False
    # without owners: arrays cut out of them would cost a reference count each
    planes = (borrowed(planes[0]), borrowed(planes[1]))
    signal, seen, clipped = borrowed(signal), borrowed(seen), borrowed(clipped)
    # sums of a few rows stay in a near cache while all frames are added to them
    for first in range(0, height, _ROWS):
        rows = (first, min(first + _ROWS, height))
        for k in range(steps.shape[0]):
            pixels = borrowed(frames[k])
            over = _largest(pixels, places[k], rows, width) >= limit
            any_clipped |= _add_rows(pixels, planes, steps[k], limit, places[k], rows, over, signal, seen, clipped)
    for k in range(steps.shape[0]):
        _take_off(borrowed(frames[k]), defects, planes[1], steps[k, 2], limit, places[k], signal, clipped)
    return any_clipped


@compiled
def _largest(pixels, places, rows_of_bins, width):
    """The largest count in the rows of a frame from which some rows of bins are read.

    Read one after another they come from far memory twice as fast as two by two; adding then finds them near.
    """
    top, bottom = pixels.shape[0], 0
    for y in (rows_of_bins[0], rows_of_bins[1] - 1):
        for x in (0, width - 1):
            row, _ = nearest(places, x, y)
            top, bottom = min(top, row), max(bottom, row + 2)
    largest = np.uint16(0)
    for row in range(max(top, 0), min(bottom, pixels.shape[0])):
        line = pixels[row]
        for column in range(line.size):
            largest = max(largest, line[column])
    return largest


@compiled
def _add_rows(pixels, planes, steps, limit, places, rows_of_bins, over, signal, seen, clipped):
    """Add a frame, its defects too, to the bins of some rows; returns whether any of these is saturated."""
    rows, columns = pixels.shape
    width, any_clipped = signal.shape[1], False
    for y in range(rows_of_bins[0], rows_of_bins[1]):
        x = 0
        while x < width:
            row, column = nearest(places, x, y)
            run = _run(places, x, y, row, column, width)
            if 0 <= row <= rows - 2:
                # those of the run whose four pixels lie in the picture
                first = max((1 - column) >> 1, 0)
                last = min(run, (columns - 2 - column) // 2 + 1)
                if first < last:
                    any_clipped |= _add_run(
                        pixels, planes, steps, limit, row, column + 2 * first, last - first, over,
                        signal[y, x + first : x + last], seen[y, x + first : x + last], clipped[y, x + first : x + last],
                    )  # fmt: skip
            x += run
    return any_clipped


@compiled
def _run(places, x, y, row, column, width):
    """How many bins from (y, x) on lie side by side in the frame too; at least 1."""
    run = width - x
    down = places[1, 0] * x + places[1, 1] * y + places[1, 2] + 0.5 - row
    right = places[0, 0] * x + places[0, 1] * y + places[0, 2] + 0.5 - column
    for off, step in ((down, places[1, 0]), (right, places[0, 0] - 2.0)):
        to_edge = 1.0 - off if step > 0.0 else off
        if to_edge < run * abs(step):
            run = min(run, int(to_edge / abs(step)) + 2)
    while run > 1:
        last_row, last_column = nearest(places, x + run - 1, y)
        if last_row == row and last_column == column + 2 * (run - 1):
            break
        run -= 1
    return run


@compiled
def _add_run(pixels, planes, steps, limit, row, column, run, over, signal, seen, clipped):
    """Add ``run`` bins whose pixels follow one another from (row, column) on; returns whether any is saturated."""
    dark_low, dark_step, scale = steps[0], steps[1], steps[2]
    one, zero = np.uint16(1), np.uint16(0)
    dark = planes[0][row & 1, column & 1, row >> 1, column >> 1 :]
    inverse = planes[1][row & 1, column & 1, row >> 1, column >> 1 :]
    above, below = pixels[row, column : column + 2 * run], pixels[row + 1, column : column + 2 * run]
    low, high = np.uint32(0xFFFF), np.uint32(16)
    for n in range(run):
        a, b = pair_at(above, n), pair_at(below, n)
        counts = np.float32(np.int32((a & low) + (a >> high) + (b & low) + (b >> high)))
        signal[n] += (counts - dark_low - dark_step * np.float32(dark[n])) * (scale * np.float32(inverse[n]))
    for n in range(run):
        seen[n] += one if inverse[n] > 0 else zero
    if not over:
        return False
    any_clipped = False
    for n in range(run):
        over = (above[2 * n] >= limit) + (above[2 * n + 1] >= limit)
        over += (below[2 * n] >= limit) + (below[2 * n + 1] >= limit)
        clipped[n] += np.uint16(over)
        any_clipped |= over > 0
    return any_clipped


@compiled
def _take_off(pixels, defects, inverse, scale, limit, places, signal, clipped):
    """Take what defects added off again."""
    height, width = signal.shape
    determinant = places[0, 0] * places[1, 1] - places[0, 1] * places[1, 0]
    for i in range(defects.shape[0]):
        row, column = defects[i, 0], defects[i, 1]
        right, down = column - 0.5 - places[0, 2], row - 0.5 - places[1, 2]
        x_near = int(np.floor((places[1, 1] * right - places[0, 1] * down) / determinant + 0.5))
        y_near = int(np.floor((places[0, 0] * down - places[1, 0] * right) / determinant + 0.5))
        for y in range(max(y_near - 1, 0), min(y_near + 2, height)):
            for x in range(max(x_near - 1, 0), min(x_near + 2, width)):
                top, left = nearest(places, x, y)
                inside = 0 <= top <= pixels.shape[0] - 2 and 0 <= left <= pixels.shape[1] - 2
                if inside and 0 <= row - top <= 1 and 0 <= column - left <= 1:
                    per_count = scale * np.float32(inverse[top & 1, left & 1, top >> 1, left >> 1])
                    signal[y, x] -= np.float32(pixels[row, column]) * per_count
                    if pixels[row, column] >= limit:
                        clipped[y, x] -= np.uint16(1)


@compiled
def add_sampled(pixels, planes, steps, bad, places, number, every, held_px, sums):
    """Add every so manieth bin of the ``number``-th frame, without ``bad`` pixels; see ``MovedBins.sample``."""
    rows, columns = pixels.shape
    for y in range(sums.shape[1]):
        for x in range(sums.shape[2]):
            lot = number + y * sums.shape[2] + x
            row, column = before(places, every * x, every * y, (lot * _LOTS[0]) % 1.0, (lot * _LOTS[1]) % 1.0)
            value = np.nan
            if 0 <= row <= rows - 2 and 0 <= column <= columns - 2:
                of_four = (row & 1, column & 1, row >> 1, column >> 1)
                counts = 0.0
                for down in range(row, row + 2):
                    for right in range(column, column + 2):
                        counts += 0.0 if bad[down, right] else np.float64(pixels[down, right])
                if planes[1][of_four] > 0:
                    value = (counts - steps[0] - steps[1] * planes[0][of_four]) * (steps[2] * planes[1][of_four])
            sums[0, y, x] += value
            sums[1, y, x] += value * held_px[0]
            sums[2, y, x] += value * held_px[1]
