"""A frame made small and even, so that little work finds where it has moved to.

Blocks of raw counts are summed, then dark and flat taken out, so that vignetting and the ring's fall-off, which stay with the
camera, do not count as tissue. The square root makes shot noise alike in bright and dark places (Anscombe 1948, Biometrika
35:246, generalised by read noise as Starck, Murtagh & Bijaoui 1998). A difference of box means keeps what is neither slow (dye
creeping in, ambient light) nor mere noise; what stands out strongly is softly limited, so that bright vessels and
the injection site do not outvote the skin.
"""

from dataclasses import dataclass

import numpy as np
from numba import njit, uint64
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import Counts

F32 = NDArray[np.float32]

LEAST_SIDE = 48
"""Texels on the shorter side; fewer hold too few places to tell a match from chance."""
_MOST_TEXELS = 110_000
_NARROW, _WIDE = 1, 2
"""Half widths in texels of the boxes whose difference is kept. Wider ones let the dye's own outlines pull (measured: by 10 px)."""
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
    """Makes textures of one camera's pictures; raises Refused for small ones. Keeps its buffers, so not for several threads."""

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
        share = 1.0 - self._means(calibration.defects)
        good = np.where(calibration.defects, np.float32(0), calibration.dark_counts)
        dark = self._means(good) / np.maximum(share, 1e-6)
        flat = self._means(calibration.flat)
        k = calibration.counts_per_electron
        own = k * calibration.read_noise_electrons**2 + 1.0 / (12.0 * k)
        self._scale = (1.0 / (np.maximum(share, 1e-6) * block**2 * flat)).astype(np.float32)
        self._offset = ((own - dark) / flat).astype(np.float32)
        self._roots = np.empty((self.rows, self.columns), np.float32)
        self._sums = np.empty((self.rows, self.columns), np.uint32)

    def texture(self, pixels: Counts) -> Texture:
        """Texture of a raw (height, width) uint16 picture. Raises Refused where the size is another."""
        if pixels.shape != self.shape:
            raise Refused("a picture of another size cannot be registered", pixels.shape, f"give {self.shape}")
        self._sum(pixels)
        _take_roots(self._sums, self._scale, self._offset, self._roots)
        fine = np.empty_like(self._roots)
        _band_pass(self._roots, _NARROW, _WIDE, fine)
        _limit(fine, _LIMIT)
        if self.coarse_step == 1:
            return Texture(fine, fine, self.block_px, 1)
        rows, columns = self.rows // 2, self.columns // 2
        coarse = np.empty((rows, columns), np.float32)
        _halve(fine, coarse)
        return Texture(fine, coarse, self.block_px, 2)

    def _sum(self, pixels: Counts) -> None:
        """Sums of blocks without their defects."""
        if self.block_px == 4 and self.shape[1] % 4 == 0 and pixels.flags.c_contiguous and pixels.ctypes.data % 8 == 0:
            _sum_fours(pixels.view(np.uint64), self._corner[0], self._sums)
        else:
            _sum_blocks(pixels, self.block_px, *self._corner, self._sums)
        rows, columns = self._defects.T
        counts = pixels[rows + self._corner[0], columns + self._corner[1]]
        np.subtract.at(self._sums, (rows // self.block_px, columns // self.block_px), counts)

    def _cut(self, plane: NDArray[np.generic]) -> NDArray[np.generic]:
        top, left = self._corner
        return plane[top : top + self.rows * self.block_px, left : left + self.columns * self.block_px]

    def _means(self, plane: NDArray[np.generic]) -> NDArray[np.float64]:
        cut = self._cut(plane).reshape(self.rows, self.block_px, self.columns, self.block_px)
        return np.asarray(cut.mean(axis=(1, 3), dtype=np.float64))


@njit(cache=True, nogil=True)
def _sum_blocks(pixels: Counts, block: int, top: int, left: int, sums: NDArray[np.uint32]) -> None:
    rows, columns = sums.shape
    line = np.empty(columns * block, np.uint32)
    for row in range(rows):
        line[:] = 0
        for inner in range(block):
            source = pixels[top + row * block + inner, left : left + columns * block]
            for x in range(columns * block):
                line[x] += source[x]
        sums[row] = 0
        for inner in range(block):
            for column in range(columns):
                sums[row, column] += line[column * block + inner]


@njit(cache=True, nogil=True)
def _sum_fours(words: NDArray[np.uint64], top: int, sums: NDArray[np.uint32]) -> None:
    """The same for blocks of four, twice as fast: a word holds the block's four counts of one row, summed two by two."""
    rows, columns = sums.shape
    pair, sixteen, half = uint64(0x0000FFFF0000FFFF), uint64(16), uint64(32)
    for row in range(rows):
        first = words[top + 4 * row]
        second, third, fourth = words[top + 4 * row + 1], words[top + 4 * row + 2], words[top + 4 * row + 3]
        for column in range(columns):
            total = (first[column] & pair) + ((first[column] >> sixteen) & pair)
            total += (second[column] & pair) + ((second[column] >> sixteen) & pair)
            total += (third[column] & pair) + ((third[column] >> sixteen) & pair)
            total += (fourth[column] & pair) + ((fourth[column] >> sixteen) & pair)
            sums[row, column] = np.uint32(total & uint64(0xFFFFFFFF)) + np.uint32(total >> half)


@njit(cache=True, nogil=True, fastmath=True)
def _take_roots(sums: NDArray[np.uint32], scale: F32, offset: F32, out: F32) -> None:
    rows, columns = sums.shape
    for row in range(rows):
        for x in range(columns):
            value = np.float32(sums[row, x]) * scale[row, x] + offset[row, x]
            out[row, x] = np.sqrt(max(value, np.float32(0)))


@njit(cache=True, nogil=True, fastmath=True)
def _band_pass(plane: F32, narrow: int, wide: int, out: F32) -> None:
    """Mean of a (2 narrow + 1) square less that of a (2 wide + 1) square, edges repeated."""
    out[:] = 0
    _add_box_mean(plane, narrow, 1.0, out)
    _add_box_mean(plane, wide, -1.0, out)


@njit(inline="always")
def _add_box_mean(plane: F32, reach: int, sign: float, out: F32) -> None:
    rows, columns = plane.shape
    padded = np.zeros(columns + 2 * reach, np.float32)
    scale = np.float32(sign / (2 * reach + 1) ** 2)
    down = np.zeros(columns, np.float32)
    for row in range(-reach, reach + 1):
        down += plane[min(max(row, 0), rows - 1)]
    for row in range(rows):
        padded[:reach] = down[0]
        padded[columns + reach :] = down[columns - 1]
        for x in range(columns):
            padded[x + reach] = scale * down[x]
        padded[:reach] *= scale
        padded[columns + reach :] *= scale
        for k in range(2 * reach + 1):
            for x in range(columns):
                out[row, x] += padded[x + k]
        leaving, entering = plane[max(row - reach, 0)], plane[min(row + reach + 1, rows - 1)]
        for x in range(columns):
            down[x] += entering[x] - leaving[x]


@njit(cache=True, nogil=True, fastmath=True)
def _limit(plane: F32, limit: float) -> None:
    """Scale to rms 1 and bend what exceeds ``limit`` softly, in place; a picture without texture becomes zero."""
    flat = plane.reshape(-1)
    squares, rows = np.float32(0), plane[::4]
    for row in range(rows.shape[0]):
        for x in range(rows.shape[1]):
            squares += rows[row, x] * rows[row, x]
    rms = np.sqrt(squares / np.float32(rows.size))
    if not rms > 1e-6:
        flat[:] = 0
        return
    scale = np.float32(1.0 / rms)
    bend = np.float32(1.0 / limit)
    for x in range(flat.size):
        value = flat[x] * scale
        flat[x] = value / (np.float32(1) + bend * abs(value))


@njit(cache=True, nogil=True, fastmath=True)
def _halve(fine: F32, coarse: F32) -> None:
    rows, columns = coarse.shape
    for row in range(rows):
        above, below = fine[2 * row], fine[2 * row + 1]
        for x in range(columns):
            coarse[row, x] = np.float32(0.25) * (above[2 * x] + above[2 * x + 1] + below[2 * x] + below[2 * x + 1])
