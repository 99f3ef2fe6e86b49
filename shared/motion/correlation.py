"""Coarse place of one texture in another: cross-correlation by a real FFT whose reference spectrum is kept.

The spectrum is flattened by half (divided by the root of its magnitude), between plain correlation, which is blunt, and phase
correlation (Kuglin & Hines 1975), which trusts frequencies that hold nothing but noise. The peak is taken to a fraction of a texel
by a parabola; the rest is ``refinement.py``'s.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.fft import irfft2, prev_fast_len, rfft2

F32 = NDArray[np.float32]
C64 = NDArray[np.complex64]

_TAPER = 0.12
"""Share of each side over which a picture fades out, so that its edges are no pattern."""
_RIVAL_DISTANCE = 5
"""Texels (Chebyshev) from the peak at which another place begins."""


@dataclass(frozen=True)
class Peak:
    """Shift (right, down) in texels, and 1 - rival / peak."""

    dx: float
    dy: float
    confidence: float


@dataclass(frozen=True, eq=False)
class Correlator:
    """One reference texture, transformed once. Keeps a buffer, so not for several threads."""

    shape: tuple[int, int]
    window: F32
    spectrum: C64
    _room: F32

    @classmethod
    def of(cls, texture: F32) -> Self:
        """Take ``texture`` (rows, columns) float32 as the reference; of its last rows and columns a few are left out."""
        rows, columns = (prev_fast_len(side, True) for side in texture.shape)
        window = np.outer(_fade(rows), _fade(columns)).astype(np.float32)
        room = texture[:rows, :columns] * window
        return cls((rows, columns), window, np.conj(_half_flat(rfft2(room))), room)

    def transformed(self, texture: F32) -> C64:
        """Spectrum of a texture of the same shape, for ``peak``; good for every reference of this shape."""
        rows, columns = self.shape
        np.multiply(texture[:rows, :columns], self.window, out=self._room)
        return _half_flat(rfft2(self._room))

    def peak(self, spectrum: C64) -> Peak:
        """Find the reference in the texture that has this spectrum."""
        surface = irfft2(spectrum * self.spectrum, self.shape)
        row, column, highest, rival = _highest(surface, _RIVAL_DISTANCE)
        if not highest > 0:
            return Peak(0.0, 0.0, 0.0)
        rows, columns = self.shape
        dy = row + _vertex(surface[row - 1, column], highest, surface[(row + 1) % rows, column])
        dx = column + _vertex(surface[row, column - 1], highest, surface[row, (column + 1) % columns])
        dy, dx = (dy + rows / 2) % rows - rows / 2, (dx + columns / 2) % columns - columns / 2
        return Peak(dx, dy, max(1.0 - rival / highest, 0.0))


def _half_flat(spectrum: C64) -> C64:
    _flatten(spectrum.reshape(-1))
    return spectrum


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _flatten(spectrum: C64) -> None:
    for i in range(spectrum.size):
        value = spectrum[i]
        power = value.real * value.real + value.imag * value.imag
        spectrum[i] = value * (np.float32(1) / np.sqrt(np.sqrt(power + np.float32(1e-12))))


@njit(cache=True, nogil=True)
def _highest(surface: F32, distance: int) -> tuple[int, int, float, float]:
    """Row, column and height of the highest place, and the height of the highest one away from it (round the edges)."""
    rows, columns = surface.shape
    best_row, best_column, best = 0, 0, surface[0, 0]
    heights = np.empty(rows, np.float32)
    for row in range(rows):
        heights[row] = _largest(surface[row], 0, columns)
        if heights[row] > best:
            best_row, best = row, heights[row]
    for column in range(columns):
        if surface[best_row, column] == best:
            best_column = column
    rival = np.float32(0)
    for row in range(rows):
        down = abs(row - best_row)
        if min(down, rows - down) > distance:
            rival = max(rival, heights[row])
        else:
            first, last = best_column - distance, best_column + distance + 1
            rival = max(rival, _largest(surface[row], max(last - columns, 0), max(first, 0)))
            rival = max(rival, _largest(surface[row], min(last, columns), min(first + columns, columns)))
    return best_row, best_column, float(best), float(rival)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _largest(line: F32, first: int, last: int) -> np.float32:
    best = np.float32(-1e30)
    for x in range(first, last):
        best = max(best, line[x])
    return best


def _vertex(left: float, middle: float, right: float) -> float:
    bend = left - 2.0 * middle + right
    return 0.5 * float(left - right) / float(bend) if bend < 0 else 0.0


def _fade(size: int) -> NDArray[np.float64]:
    """Tukey window."""
    edge = np.minimum(np.arange(size) + 0.5, size - np.arange(size) - 0.5) / (_TAPER * size)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.minimum(edge, 1.0)))
