"""How light falls off towards the picture's edge: a smooth stand-in for ln(flat), and what it adds to ambient light on the way."""

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.polynomial.polynomial import polyval2d, polyvander2d
from numpy.typing import NDArray

from shared.inflow.maps_slots import Bins

F64 = NDArray[np.float64]
Where = tuple[slice, slice]
"""Rows and columns of bins."""

_LOOKED_AT = 64
"""Bins of a row or column, at least, that are looked at."""
_DEGREE = 4
"""Of the polynomial in each direction that stands for the fall-off."""
_BEYOND = 1.1
"""Times half the picture, from its middle: farther out a polynomial says nothing."""


@dataclass(frozen=True, eq=False)
class FallOff:
    """``powers`` (down, across) of a polynomial for the logarithm of light, with y and x from -1 to 1 over bins of ``shape``
    (height, width).
    """

    powers: F64
    shape: tuple[int, int]

    @classmethod
    def of(cls, bins: Bins) -> Self:
        """Of the flat, smoother than pixels are alike."""
        height, width = bins.pixels.shape
        y, x = (np.linspace(-1.0, 1.0, side) for side in (height, width))
        every = slice(None, None, max(min(height, width) // _LOOKED_AT, 1))
        whole = (bins.pixels[every, every] == 4) & (bins.inverse_flat[every, every] > 0)
        rows, columns = np.nonzero(whole)
        terms = polyvander2d(y[every][rows], x[every][columns], (_DEGREE, _DEGREE))
        logs = -np.log(bins.inverse_flat[every, every][whole].astype(np.float64))
        return cls(np.linalg.lstsq(terms, logs, rcond=None)[0].reshape(_DEGREE + 1, _DEGREE + 1), (height, width))

    @property
    def darkened(self) -> float:
        """By how much less it is in the corners, in their mean, than in the middle."""
        return float(self.powers[0, 0] - self.powers[::2, ::2].sum())

    @property
    def by_lens(self) -> "FallOff":
        """As a lens has it, to the lowest order: the square of the distance from the picture's middle, 1 in its corners."""
        powers, (height, width) = np.zeros_like(self.powers), self.shape
        powers[2, 0], powers[0, 2] = np.array((height**2, width**2)) / (height**2 + width**2)
        return FallOff(powers, self.shape)

    def plus(self, other: "FallOff") -> "FallOff":
        """Both lights' product."""
        return FallOff(self.powers + other.powers, self.shape)

    def times(self, share: float) -> "FallOff":
        """So many times as much, in logarithms."""
        return FallOff(share * self.powers, self.shape)

    @property
    def _sides(self) -> tuple[int, int]:
        return max(self.shape[0] - 1, 1), max(self.shape[1] - 1, 1)

    def change(self, where: Where, away_px: F64, across: int, down: int) -> F64:
        """Derivative of that order, a pixel, (rows, columns), ``away_px`` to the right and down from each bin."""
        sides = self._sides
        # 2 pixels a bin, and a way of 2 from edge to edge
        y = (2.0 * np.arange(self.shape[0])[where[0]] + away_px[1]) / sides[0] - 1.0
        x = (2.0 * np.arange(self.shape[1])[where[1]] + away_px[0]) / sides[1] - 1.0
        found = _derivatives(y, down) @ self.powers @ _derivatives(x, across).T
        return np.asarray(found / (sides[0] ** down * sides[1] ** across))

    def lost(self, points_px: F64, to_frames: F64) -> F64:
        """By how much less it is where frames show points than at these, (frames, points); ``points_px`` (points, 2), x and y, of
        the view that ``to_frames`` (frames, 2, 3) lead from.
        """
        x_px, y_px = (to_frames[:, :, :2] @ points_px.T + to_frames[:, :, 2:]).transpose(1, 0, 2)
        return self._logs(*points_px.T) - self._logs(x_px, y_px)

    def _logs(self, x_px: F64, y_px: F64) -> F64:
        """At pixels of the picture; beyond its edge that of the edge."""
        y, x = (
            np.clip((pixel - 0.5) / side - 1.0, -_BEYOND, _BEYOND)
            for pixel, side in zip((y_px, x_px), self._sides, strict=True)
        )
        return np.asarray(polyval2d(y, x, self.powers))


def _derivatives(at: F64, order: int) -> F64:
    """Of the powers 0 to ``_DEGREE`` of numbers (n,), (n, powers)."""
    found = np.zeros((at.size, _DEGREE + 1))
    times = [math.perm(power, order) for power in range(order, _DEGREE + 1)]
    found[:, order:] = np.vander(at, len(times), increasing=True) * times
    return found
