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
from scipy.fft import irfft2, next_fast_len, rfft2

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
    """One reference texture, transformed once."""

    shape: tuple[int, int]
    padded: tuple[int, int]
    window: F32
    spectrum: C64

    @classmethod
    def of(cls, texture: F32) -> Self:
        """Take ``texture`` (rows, columns) float32 as the reference."""
        rows, columns = texture.shape
        padded = (next_fast_len(rows, True), next_fast_len(columns, True))
        window = np.outer(_fade(rows), _fade(columns)).astype(np.float32)
        return cls(texture.shape, padded, window, np.conj(_half_flat(rfft2(texture * window, padded))))

    def transformed(self, texture: F32) -> C64:
        """Spectrum of a texture of the same shape, for ``peak``; good for every reference of this shape."""
        return _half_flat(rfft2(texture * self.window, self.padded))

    def peak(self, spectrum: C64) -> Peak:
        """Find the reference in the texture that has this spectrum."""
        surface = irfft2(spectrum * self.spectrum, self.padded)
        row, column, highest, rival = _highest(surface, _RIVAL_DISTANCE)
        if not highest > 0:
            return Peak(0.0, 0.0, 0.0)
        rows, columns = self.padded
        dy = row + _vertex(surface[row - 1, column], highest, surface[(row + 1) % rows, column])
        dx = column + _vertex(surface[row, column - 1], highest, surface[row, (column + 1) % columns])
        dy, dx = (dy + rows / 2) % rows - rows / 2, (dx + columns / 2) % columns - columns / 2
        return Peak(dx, dy, max(1.0 - rival / highest, 0.0))


def _half_flat(spectrum: C64) -> C64:
    _flatten(spectrum.reshape(-1))
    return spectrum


@njit(cache=True, nogil=True, fastmath=True)
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
    for row in range(rows):
        for column in range(columns):
            if surface[row, column] > best:
                best_row, best_column, best = row, column, surface[row, column]
    rival = np.float32(0)
    for row in range(rows):
        down = abs(row - best_row)
        near = min(down, rows - down) <= distance
        for column in range(columns):
            if surface[row, column] > rival:
                right = abs(column - best_column)
                if not (near and min(right, columns - right) <= distance):
                    rival = surface[row, column]
    return best_row, best_column, float(best), float(rival)


def _vertex(left: float, middle: float, right: float) -> float:
    bend = left - 2.0 * middle + right
    return 0.5 * float(left - right) / float(bend) if bend < 0 else 0.0


def _fade(size: int) -> NDArray[np.float64]:
    """Tukey window."""
    edge = np.minimum(np.arange(size) + 0.5, size - np.arange(size) - 0.5) / (_TAPER * size)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.minimum(edge, 1.0)))
