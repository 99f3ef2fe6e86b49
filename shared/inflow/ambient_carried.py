"""Ambient light in baselines, where no unlit frames measured it: how much there is, told from how they change under the hand.

Signal is divided by the flat, in which the ring falls off towards the picture's edge; the room's light does not come from the ring
and is divided by it all the same. So it looks brighter where the hand carries its tissue to a darker part of the ring's light: a
baseline B, of which a share s is ambient light, is off by -s B grad(ln flat) . d, with d the mean of where its frames lay. Before
the dye nothing else goes by place and fall-off, so s is the slope of a straight line through the frames before it, by sums that
tell tremor too (maps_samples.py). How sure it is says how much parts of the picture disagree (Cochran 1977, Sampling Techniques,
6.4: a ratio of two sums; from memory). A hand that hardly moves tells nothing of it: then nothing is taken off, and any share up
to all of it is as likely (JCGM 100:2008, 4.3.7).

The lens's own fall-off is in the flat too, and darkens ambient light as it does the ring's: the share is that of the whole
fall-off, which is what has to be taken off where both fall off alike, and no more than a part of what is ambient light.
"""

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.polynomial.polynomial import polyder, polygrid2d, polyvander2d
from numpy.typing import NDArray

from shared.inflow.maps_samples import Samples, spacing
from shared.inflow.maps_slots import Bins, Slot

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

_LOOKED_AT = 64
"""Bins of a row or column, at least, that are looked at."""
_PARTS = (4, 6)
"""Of the picture, down and across, whose disagreement says how sure the share is."""
_DEGREE = 4
"""Of the polynomial in each direction that stands for the fall-off."""
_UNTOLD_U = 3**-0.5
"""Of a share that is left at nothing while it may be anything up to 1."""
_LEAST_FRAMES = 3


@dataclass(frozen=True, eq=False)
class AmbientCarried:
    """``share`` (0 to 1) of the baseline that goes with the flat as ambient light does, with its standard uncertainty; ``by_x``
    and ``by_y``, (height, width) float32, changes of ln(flat) a pixel; ``ends_s`` (slots,), and the mean place (slots + 1, 2) of
    the first slots, 0 to all of them; the ``early`` first came before any dye.
    """

    share: float
    share_u: float
    by_x: F32
    by_y: F32
    ends_s: F64
    places_px: F64
    early: int

    @classmethod
    def of(cls, samples: Samples, slots: list[Slot], early: int, bins: Bins) -> Self:
        """From the ``early`` first slots, which came before the dye."""
        frames = np.array([slot.frames for slot in slots], np.float64)
        places = np.array([(slot.moved_right_px, slot.moved_down_px) for slot in slots])
        means = np.cumsum(frames[:, None] * places, axis=0) / np.cumsum(frames)[:, None]
        powers = _logs_of_flat(bins)
        share, share_u = _share(*samples.together([slot.place for slot in slots[:early]]), powers, bins.pixels.shape)
        by_x, by_y = _fall_off(powers, bins.pixels.shape, means[early - 1] / 2.0)
        ends_s = np.array([slot.end_s for slot in slots])
        return cls(share, share_u, by_x, by_y, ends_s, np.concatenate([places[:1], means]), early)

    def take_off(self, level: F32, level_u: F32, arrival_s: F32) -> None:
        """Correct the baselines ``level`` and ``level_u``, in place; they end before ``arrival_s``, nan where it is not known. All
        (height, width).
        """
        slots = np.maximum(np.searchsorted(self.ends_s, np.nan_to_num(arrival_s)), self.early)
        right_px, down_px = (place.astype(np.float32)[slots] for place in self.places_px.T)
        whole = level * (self.by_x * right_px + self.by_y * down_px)
        level += np.float32(self.share) * whole
        level_u[:] = np.hypot(level_u, np.float32(self.share_u) * whole)


def _share(sums: F64, held: F64, powers: F64, shape: tuple[int, int]) -> tuple[float, float]:
    """Share of ambient light and its standard uncertainty, from ``Samples.together``."""
    frames = held[0]
    if frames < _LEAST_FRAMES:
        return 0.0, _UNTOLD_U
    away = held[1:3] / frames
    spread = np.array([held[3:5], held[4:6]]) - frames * np.outer(away, away)
    sums = np.where(np.isfinite(sums), sums, 0.0)
    mean, every = sums[0] / frames, spacing(shape)
    fall_off = np.stack(_fall_off(powers, shape, away))[:, ::every, ::every]
    goes = sums[1:] - mean * held[1:3, None, None]
    # weighted by 1 / signal, as shot noise grows with it; what is nearly dark says nothing
    bright = mean > 0.1 * mean.max()
    found = _in_parts(np.where(bright, -(fall_off * goes).sum(axis=0), 0.0))
    most = _in_parts(np.where(bright, mean * np.einsum("iyx,ij,jyx->yx", fall_off, spread, fall_off), 0.0))
    total = float(most.sum())
    if not total > 0:
        return 0.0, _UNTOLD_U
    share = float(found.sum()) / total
    off2 = float(np.square(found - share * most).sum()) * most.size / (most.size - 1)
    off_u = math.sqrt(off2) / total
    if not off_u < _UNTOLD_U:
        return 0.0, _UNTOLD_U
    # what noise hides is left on, and counted (James and Stein 1961, positive part; from memory)
    told = max(1.0 - (off_u / share) ** 2, 0.0) if share > 0 else 0.0
    return min(told * share, 1.0), math.hypot(told * off_u, (1.0 - told) * max(off_u, abs(share)))


def _in_parts(plane: F64) -> F64:
    """Sums over parts of the picture."""
    bands = np.array_split(plane, _PARTS[0])
    return np.array([part.sum() for band in bands for part in np.array_split(band, _PARTS[1], axis=1)])


def _logs_of_flat(bins: Bins) -> F64:
    """The polynomial that stands for ln(flat), smoother than pixels are alike; y and x from -1 to 1."""
    height, width = bins.pixels.shape
    y, x = (np.linspace(-1.0, 1.0, side) for side in (height, width))
    every = slice(None, None, max(min(height, width) // _LOOKED_AT, 1))
    whole = (bins.pixels[every, every] == 4) & (bins.inverse_flat[every, every] > 0)
    rows, columns = np.nonzero(whole)
    terms = polyvander2d(y[every][rows], x[every][columns], (_DEGREE, _DEGREE))
    logs = -np.log(bins.inverse_flat[every, every][whole].astype(np.float64))
    return np.asarray(np.linalg.lstsq(terms, logs, rcond=None)[0].reshape(_DEGREE + 1, _DEGREE + 1))


def _fall_off(powers: F64, shape: tuple[int, int], away_px: F64) -> tuple[F32, F32]:
    """Change of ln(flat) a pixel to the right and down, (height, width), ``away_px`` from each bin. Half-way to where a hand went,
    it is the mean of what lies between, to the third order.
    """
    height, width = shape
    x = np.linspace(-1.0, 1.0, width) + away_px[0] / max(width - 1, 1)
    y = np.linspace(-1.0, 1.0, height) + away_px[1] / max(height - 1, 1)
    by_y, by_x = (polygrid2d(y, x, polyder(powers, axis=axis)) for axis in (0, 1))
    # 2 pixels a bin, and a way of 2 from edge to edge
    return (by_x / max(width - 1, 1)).astype(np.float32), (by_y / max(height - 1, 1)).astype(np.float32)
