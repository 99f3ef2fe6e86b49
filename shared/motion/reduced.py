"""A frame made small and even, so that little work finds where it has moved to.

Blocks of raw counts are summed (the middle half of the rows of blocks of four and more: reading memory is what costs, and
texture, not noise, decides), then dark and flat taken out, so that vignetting and the ring's fall-off, which stay with the
camera, do not count as tissue. The square root makes shot noise alike in bright and dark places (Anscombe 1948, Biometrika
35:246, generalised by read noise as Starck, Murtagh & Bijaoui 1998). A difference of box means keeps what is neither slow (dye
creeping in, ambient light) nor mere noise; what stands out strongly is softly limited, so that bright vessels and
the injection site do not outvote the skin. Boxes wider than 3 and 5 texels let the dye's own outlines pull (measured: by 10 px).
"""

from collections import deque
from dataclasses import dataclass

import numpy as np
from numba import njit, uint64
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import Counts
from shared.signal import DefectSources

F32 = NDArray[np.float32]

LEAST_SIDE = 48
"""Texels on the shorter side; fewer hold too few places to tell a match from chance."""
_MOST_TEXELS = 110_000
_MOST_AHEAD = 12
"""Pictures whose sums are kept until their texture is asked for; older ones are forgotten."""
_LIMIT = 0.5
"""Where the soft limit begins to bite, in rms of the picture's own texture."""


@dataclass(frozen=True, eq=False)
class Texture:
    """``fine`` (rows, columns) float32 and ``coarse``, half as large (or the same where the picture is small), both of mean about
    zero and rms about 1; a texel of ``fine`` is ``block_px`` pixels wide.
    """

    fine: F32
    coarse: F32
    block_px: int
    coarse_step: int


class Reducer:
    """Makes textures of one camera's pictures; raises Refused for small ones. Keeps its buffers, so belongs to one thread, and to
    those that sum up ahead.
    """

    def __init__(self, calibration: Calibration, coarser: int = 1) -> None:
        """``coarser`` makes texels that many times wider: for pictures that are smooth, out of focus say."""
        self.shape = calibration.camera.shape
        height, width = self.shape
        self.block_px = coarser * max(round((height * width / _MOST_TEXELS) ** 0.5), 1)
        self.rows, self.columns = height // self.block_px, width // self.block_px
        if min(self.rows, self.columns) < LEAST_SIDE:
            raise Refused("pictures this small cannot be registered", self.shape, f"give {LEAST_SIDE} pixels a side")
        self.coarse_step = 2 if self.rows * self.columns > _MOST_TEXELS // 3 else 1
        block = self.block_px
        self._corner = ((height - self.rows * block) // 2, (width - self.columns * block) // 2)
        self._defects = np.argwhere(self._cut(calibration.defects)).astype(np.int32)
        self._first, self._last = block // 4, block - block // 4
        share = 1.0 - self._means(calibration.defects)
        self._blind = DefectSources.around(share < 1e-6)  # a dark spot that stays with the camera would count as tissue
        good = np.where(calibration.defects, np.float32(0), calibration.dark_counts)
        dark = self._means(good) / np.maximum(share, 1e-6)
        flat = self._means(calibration.flat)
        k = calibration.counts_per_electron
        own = k * calibration.read_noise_electrons**2 + 1.0 / (12.0 * k)
        self._scale = (1.0 / (np.maximum(share, 1e-6) * block * (self._last - self._first) * flat)).astype(np.float32)
        self._offset = ((own - dark) / flat).astype(np.float32)
        self._roots = np.empty((self.rows, self.columns), np.float32)
        self._sums = np.empty((self.rows, self.columns), np.uint32)
        self._ahead: deque[tuple[Counts, NDArray[np.uint32]]] = deque(maxlen=_MOST_AHEAD)

    def sum_ahead(self, pixels: Counts) -> None:
        """Sum up a picture whose texture will be asked for: by the thread that made it, which has it near (0.07 ms, not 0.25)."""
        sums = np.empty_like(self._sums)
        self._sum(pixels, sums)
        self._ahead.append((pixels, sums))

    def texture(self, pixels: Counts) -> Texture:
        """Texture of a raw (height, width) uint16 picture. Raises Refused where the size is another."""
        if pixels.shape != self.shape:
            raise Refused("a picture of another size cannot be registered", pixels.shape, f"give {self.shape}")
        sums = self._known(pixels)
        if sums is None:
            sums = self._sums
            self._sum(pixels, sums)
        _take_roots(sums, self._scale, self._offset, self._roots)
        self._blind.replace(self._roots)
        fine = np.empty_like(self._roots)
        _band_pass(self._roots, fine)
        _limit(fine, _LIMIT)
        if self.coarse_step == 1:
            return Texture(fine, fine, self.block_px, 1)
        rows, columns = self.rows // 2, self.columns // 2
        coarse = np.empty((rows, columns), np.float32)
        _halve(fine, coarse)
        return Texture(fine, coarse, self.block_px, 2)

    def _known(self, pixels: Counts) -> NDArray[np.uint32] | None:
        """Sums of a picture that was summed up ahead."""
        for number, (seen, sums) in enumerate(tuple(self._ahead)):
            if seen is pixels:
                del self._ahead[number]
                return sums
        return None

    def _sum(self, pixels: Counts, sums: NDArray[np.uint32]) -> None:
        """Fill in the sums of the rows read of blocks, without their defects."""
        if self.block_px == 4 and self.shape[1] % 4 == 0 and pixels.flags.c_contiguous and pixels.ctypes.data % 8 == 0:
            _sum_fours(pixels.view(np.uint64), self._corner[0], sums)
        else:
            _sum_blocks(pixels, self.block_px, self._first, self._last, *self._corner, sums)
        _take_off(pixels, self._defects, self.block_px, self._first, self._last, *self._corner, sums)

    def _cut(self, plane: NDArray[np.generic]) -> NDArray[np.generic]:
        top, left = self._corner
        return plane[top : top + self.rows * self.block_px, left : left + self.columns * self.block_px]

    def _means(self, plane: NDArray[np.generic]) -> NDArray[np.float64]:
        cut = self._cut(plane).reshape(self.rows, self.block_px, self.columns, self.block_px)[
            :, self._first : self._last
        ]
        return np.asarray(cut.mean(axis=(1, 3), dtype=np.float64))


@njit(cache=True, nogil=True)
def _sum_blocks(
    pixels: Counts, block: int, first: int, last: int, top: int, left: int, sums: NDArray[np.uint32]
) -> None:
    rows, columns = sums.shape
    line = np.empty(columns * block, np.uint32)
    for row in range(rows):
        line[:] = 0
        for inner in range(first, last):
            source = pixels[top + row * block + inner, left : left + columns * block]
            for x in range(columns * block):
                line[x] += source[x]
        sums[row] = 0
        for inner in range(block):
            for column in range(columns):
                sums[row, column] += line[column * block + inner]


@njit(cache=True, nogil=True)
def _sum_fours(words: NDArray[np.uint64], top: int, sums: NDArray[np.uint32]) -> None:
    """The same for the second and third row of blocks of four, twice as fast: a word holds a block's four counts of one row."""
    rows, columns = sums.shape
    pair, sixteen, half = uint64(0x0000FFFF0000FFFF), uint64(16), uint64(32)
    for row in range(rows):
        second, third = words[top + 4 * row + 1], words[top + 4 * row + 2]
        for column in range(columns):
            total = (second[column] & pair) + ((second[column] >> sixteen) & pair)
            total += (third[column] & pair) + ((third[column] >> sixteen) & pair)
            sums[row, column] = np.uint32(total & uint64(0xFFFFFFFF)) + np.uint32(total >> half)


@njit(cache=True, nogil=True)
def _take_off(
    pixels: Counts,
    defects: NDArray[np.int32],
    block: int,
    first: int,
    last: int,
    top: int,
    left: int,
    sums: NDArray[np.uint32],
) -> None:
    for k in range(defects.shape[0]):
        row, column = defects[k, 0], defects[k, 1]
        if first <= row % block < last:
            sums[row // block, column // block] -= np.uint32(pixels[row + top, column + left])


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _take_roots(sums: NDArray[np.uint32], scale: F32, offset: F32, out: F32) -> None:
    rows, columns = sums.shape
    for row in range(rows):
        for x in range(columns):
            value = np.float32(sums[row, x]) * scale[row, x] + offset[row, x]
            out[row, x] = np.sqrt(max(value, np.float32(0)))


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _band_pass(plane: F32, out: F32) -> None:
    """Mean of a 3 x 3 square less that of a 5 x 5 square, edges repeated."""
    rows, columns = plane.shape
    last = rows - 1
    three, five = np.zeros(columns + 4, np.float32), np.zeros(columns + 4, np.float32)
    ninth, twenty_fifth = np.float32(1.0 / 9.0), np.float32(1.0 / 25.0)
    for row in range(rows):
        a, b, c = plane[max(row - 2, 0)], plane[max(row - 1, 0)], plane[row]
        d, e = plane[min(row + 1, last)], plane[min(row + 2, last)]
        for x in range(columns):
            inner = b[x] + c[x] + d[x]
            three[x + 2] = ninth * inner
            five[x + 2] = twenty_fifth * (inner + a[x] + e[x])
        for sums in (three, five):
            sums[0] = sums[1] = sums[2]
            sums[columns + 3] = sums[columns + 2] = sums[columns + 1]
        line = out[row]
        for x in range(columns):
            wide = five[x] + five[x + 1] + five[x + 2] + five[x + 3] + five[x + 4]
            line[x] = three[x + 1] + three[x + 2] + three[x + 3] - wide


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _limit(plane: F32, limit: float) -> None:
    """Scale to rms 1 and bend what exceeds ``limit`` softly, in place; a picture without texture becomes zero."""
    rows, columns = plane.shape
    squares, number = np.float32(0), 0
    for row in range(0, rows, 4):
        line = plane[row]
        number += columns
        for x in range(columns):
            squares += line[x] * line[x]
    rms = np.sqrt(squares / np.float32(number))
    if not rms > 1e-6:
        plane[:] = 0
        return
    scale = np.float32(1.0 / rms)
    bend = np.float32(1.0 / (rms * limit))
    for row in range(rows):
        line = plane[row]
        for x in range(columns):
            line[x] = line[x] * scale / (np.float32(1) + bend * abs(line[x]))


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _halve(fine: F32, coarse: F32) -> None:
    rows, columns = coarse.shape
    for row in range(rows):
        above, below = fine[2 * row], fine[2 * row + 1]
        for x in range(columns):
            coarse[row, x] = np.float32(0.25) * (above[2 * x] + above[2 * x + 1] + below[2 * x] + below[2 * x + 1])
