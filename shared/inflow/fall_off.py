"""How the flat falls off towards the picture's edge: a smooth stand-in for ln(flat), its changes, and how much of what is seen goes
with it as ambient light does.
"""

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.polynomial.polynomial import polyder, polygrid2d, polyval2d, polyvander2d
from numpy.typing import NDArray

from shared.inflow.maps_samples import spacing
from shared.inflow.maps_slots import Bins

F64 = NDArray[np.float64]
Where = tuple[slice, slice]
"""Rows and columns of bins."""

_LOOKED_AT = 64
"""Bins of a row or column, at least, that are looked at."""
_PARTS = (4, 6)
"""Of the picture, down and across, whose disagreement says how sure the share is."""
_DEGREE = 4
"""Of the polynomial in each direction that stands for the fall-off."""
_BEYOND = 1.1
"""Times half the picture, from its middle: farther out a polynomial says nothing."""
UNTOLD_U = 3**-0.5
"""Of a share that is left at nothing while it may be anything up to 1."""
_LEAST_FRAMES = 3
LITTLE = 0.01
"""Of a baseline: ambient light that is less, or makes it less unsure, need not be told (design choice, no source)."""


@dataclass(frozen=True, eq=False)
class FallOff:
    """``powers`` (down, across) of the polynomial, with y and x from -1 to 1 over bins of ``shape`` (height, width)."""

    powers: F64
    shape: tuple[int, int]

    @classmethod
    def of(cls, bins: Bins) -> Self:
        """Smoother than pixels are alike."""
        height, width = bins.pixels.shape
        y, x = (np.linspace(-1.0, 1.0, side) for side in (height, width))
        every = slice(None, None, max(min(height, width) // _LOOKED_AT, 1))
        whole = (bins.pixels[every, every] == 4) & (bins.inverse_flat[every, every] > 0)
        rows, columns = np.nonzero(whole)
        terms = polyvander2d(y[every][rows], x[every][columns], (_DEGREE, _DEGREE))
        logs = -np.log(bins.inverse_flat[every, every][whole].astype(np.float64))
        return cls(np.linalg.lstsq(terms, logs, rcond=None)[0].reshape(_DEGREE + 1, _DEGREE + 1), (height, width))

    @property
    def _sides(self) -> tuple[int, int]:
        return max(self.shape[0] - 1, 1), max(self.shape[1] - 1, 1)

    def change(self, where: Where, away_px: F64, across: int, down: int) -> F64:
        """Derivative of ln(flat) of that order, a pixel, (rows, columns), ``away_px`` to the right and down from each bin."""
        sides = self._sides
        # 2 pixels a bin, and a way of 2 from edge to edge
        y = np.linspace(-1.0, 1.0, self.shape[0])[where[0]] + away_px[1] / sides[0]
        x = np.linspace(-1.0, 1.0, self.shape[1])[where[1]] + away_px[0] / sides[1]
        found = polygrid2d(y, x, polyder(polyder(self.powers, down, axis=0), across, axis=1))
        return np.asarray(found / (sides[0] ** down * sides[1] ** across))

    def logs(self, x_px: F64, y_px: F64) -> F64:
        """ln(flat) at pixels of the picture, any shape; beyond its edge that of the edge."""
        y, x = (
            np.clip((pixel - 0.5) / side - 1.0, -_BEYOND, _BEYOND)
            for pixel, side in zip((y_px, x_px), self._sides, strict=True)
        )
        return np.asarray(polyval2d(y, x, self.powers))

    def added(self, points_px: F64, to_frames: F64) -> F64:
        """What ambient light adds to its own signal on the way to where frames show it, (frames,): mean over ``points_px``
        (points, 2), x and y, of the view that ``to_frames`` (frames, 2, 3) lead from.
        """
        here = self.logs(*points_px.T)
        x_px, y_px = (to_frames[:, :, :2] @ points_px.T + to_frames[:, :, 2:]).transpose(1, 0, 2)
        return np.asarray(np.expm1(here - self.logs(x_px, y_px)).mean(axis=1))

    def share(self, sums: F64, held: F64) -> tuple[float, float]:
        """Share of ambient light in what was seen before the dye, and its standard uncertainty, from ``Samples.together``."""
        frames = held[0]
        if frames < _LEAST_FRAMES:
            return 0.0, UNTOLD_U
        away = held[1:3] / frames
        spread = np.array([held[3:5], held[4:6]]) - frames * np.outer(away, away)
        sums = np.where(np.isfinite(sums), sums, 0.0)
        mean, every = sums[0] / frames, spacing(self.shape)
        where = np.s_[::every, ::every]
        changes = np.stack([self.change(where, away, *order) for order in ((1, 0), (0, 1))])
        goes = sums[1:] - mean * held[1:3, None, None]
        # weighted by 1 / signal, as shot noise grows with it; what is nearly dark says nothing
        bright = mean > 0.1 * mean.max()
        found = _in_parts(np.where(bright, -(changes * goes).sum(axis=0), 0.0))
        most = _in_parts(np.where(bright, mean * np.einsum("iyx,ij,jyx->yx", changes, spread, changes), 0.0))
        total = float(most.sum())
        if not total > 0:
            return 0.0, UNTOLD_U
        share = float(found.sum()) / total
        off2 = float(np.square(found - share * most).sum()) * most.size / (most.size - 1)
        off_u = math.sqrt(off2) / total
        if not off_u < UNTOLD_U:
            return 0.0, UNTOLD_U
        # what noise hides is left on, and counted (James and Stein 1961, positive part; from memory)
        told = max(1.0 - (off_u / share) ** 2, 0.0) if share > 0 else 0.0
        return min(told * share, 1.0), math.hypot(told * off_u, (1.0 - told) * max(off_u, abs(share)))


def ambient_note(share: float, share_u: float, is_wide: bool) -> str:
    """What must be said of a share of ambient light: how much it is, or, where that makes baselines unsure (``is_wide``), that it
    cannot be told; else nothing.

    At least so much: the flat holds the lens's fall-off too, which darkens ambient light as it does the ring's.
    """
    if share > max(1.96 * share_u, LITTLE):
        percent, u = 100.0 * share, max(100.0 * share_u, 1.0)
        return (
            f"the room's light is at least {percent:.0f} ± {u:.0f} % of the signal before the dye, as the hand's motion tells; "
            "only what that motion changed is taken off"
        )
    if is_wide:
        return (
            "how much of the signal before the dye is the room's light cannot be told: its uncertainty allows for that"
        )
    return ""


def _in_parts(plane: F64) -> F64:
    """Sums over parts of the picture."""
    bands = np.array_split(plane, _PARTS[0])
    return np.array([part.sum() for band in bands for part in np.array_split(band, _PARTS[1], axis=1)])
