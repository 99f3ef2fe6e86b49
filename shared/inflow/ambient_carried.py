"""Ambient light that the hand carries through the ring's light, where no unlit frames measured it: how much there is, told from how
baselines change before the dye, and what it makes of slots.

Signal is divided by the flat, in which the ring falls off towards the picture's edge; the room's light does not come from the ring
and is divided by it all the same. So it looks brighter where the hand carries its tissue to a darker part of the ring's light: of a
signal B before the dye, of which a share s is ambient light, s B (exp(-change of ln(flat)) - 1) is added on the way. Before
the dye nothing else goes by place and fall-off, so s is the slope of a straight line through the frames before it, by sums that
tell tremor too (maps_samples.py). How sure it is says how much parts of the picture disagree (Cochran 1977, Sampling Techniques,
6.4: a ratio of two sums; from memory). A hand that hardly moves tells nothing of it: then nothing is taken off, and any share up
to all of it is as likely (JCGM 100:2008, 4.3.7).

What the light adds goes on while the dye rises: a hand that drifts makes a rise of it, or hides one. So it is taken off all slots
before they are read, to the second order in the place. Steps of the ring's output o make it 1/o as much; what they make of it where
frames without light measured it (ambient_steps.py) is taken off as it lay then, and the way from there is left to this.

The lens's own fall-off is in the flat too, and darkens ambient light as it does the ring's: the share is that of the whole
fall-off, which is what has to be taken off where both fall off alike, and no more than a part of what is ambient light.
"""

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.polynomial.polynomial import polyder, polygrid2d, polyvander2d
from numpy.typing import NDArray

from shared.inflow.maps_bins import Gathered, Where
from shared.inflow.maps_samples import spacing
from shared.inflow.maps_slots import Bins

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
    """``share`` (0 to 1) of the signal before the dye that goes with the flat as ambient light does, with its standard uncertainty.

    ``places`` (5, slots): of where the hand held slots, ``_features`` of how far that is from ``middle_px`` (2,), where it was
    before the dye; ``powers`` stand for ln(flat), and the signal of bins before the dye is the sum of ``planes`` (slots, height,
    width) times ``weights`` (slots,).
    """

    share: float
    share_u: float
    places: F64
    middle_px: F64
    powers: F64
    planes: tuple[NDArray[np.int16], ...]
    weights: F64

    @classmethod
    def of(cls, gatherer: Gathered, before: int) -> Self:
        """From the ``before`` first slots, which came before the dye."""
        slots, steps, shape = gatherer.slots, gatherer.light_steps, gatherer.saturated.shape
        first = slots[:before]
        frames = np.array([slot.frames for slot in first], np.float64)
        weights = frames / frames.sum() * [slot.step for slot in first]
        held_px = np.array([(slot.moved_right_px, slot.moved_down_px) for slot in slots])
        middle_px = np.average(held_px[:before], axis=0, weights=frames)
        powers = _logs_of_flat(gatherer.bins)
        samples = gatherer.samples
        if steps is not None:
            samples = steps.off_samples(samples, [slot.place for slot in slots])
        share, share_u = _share(*samples.together([slot.place for slot in first]), powers, shape)
        output = np.array([slots[0].inverse_output / slot.inverse_output for slot in slots])
        places = _features(held_px - middle_px) / output - _features(-middle_px[None])
        if steps is not None:
            places -= _features(steps.place_px[None] - middle_px) * (1.0 / output - 1.0)
        planes = tuple(gatherer.planes[slot.place] for slot in first)
        return cls(share, share_u, places, middle_px, powers, planes, weights)

    def off(self, where: Where) -> tuple[F32, F64]:
        """As ``RoomLight`` has it, like the following."""
        return self._added(where), self.share * self.places

    def doubt(self, where: Where) -> tuple[F32, F64]:
        """Another share."""
        return self._added(where), self.share_u * self.places

    def unit(self, where: Where) -> F32:
        """About as much everywhere."""
        return np.ones(self.planes[0][where].shape, np.float32)

    def doubt_of_mean(self, where: Where, inside: NDArray[np.bool_]) -> F64:
        """Another share, everywhere the same."""
        planes, factors = self.doubt(where)
        return np.asarray(planes[:, inside].mean(axis=1, dtype=np.float64) @ factors)

    def _added(self, where: Where) -> F32:
        """What light that is all of the signal adds by the features of the place, (5, rows, columns)."""
        shape = self.planes[0].shape
        x, y, xx, xy, yy = (
            _change(self.powers, shape, self.middle_px, where, *order)
            for order in ((1, 0), (0, 1), (2, 0), (1, 1), (0, 2))
        )
        added = np.stack([-x, -y, x * x - xx, x * y - xy, y * y - yy]).astype(np.float32)
        level = np.zeros(added.shape[1:], np.float32)
        for plane, weight in zip(self.planes, self.weights, strict=True):
            level += plane[where] * np.float32(weight)
        return np.asarray(added * level)


def _features(away_px: F64) -> F64:
    """Of places (n, 2) from where a function is known with its changes a pixel: what these go by to the second order, (5, n)."""
    right, down = away_px.T
    return np.stack([right, down, 0.5 * right * right, right * down, 0.5 * down * down])


def _share(sums: F64, held: F64, powers: F64, shape: tuple[int, int]) -> tuple[float, float]:
    """Share of ambient light and its standard uncertainty, from ``Samples.together``."""
    frames = held[0]
    if frames < _LEAST_FRAMES:
        return 0.0, _UNTOLD_U
    away = held[1:3] / frames
    spread = np.array([held[3:5], held[4:6]]) - frames * np.outer(away, away)
    sums = np.where(np.isfinite(sums), sums, 0.0)
    mean, every = sums[0] / frames, spacing(shape)
    fall_off = _fall_off(powers, shape, away, np.s_[::every, ::every])
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


def _fall_off(powers: F64, shape: tuple[int, int], away_px: F64, where: Where) -> F64:
    """Change of ln(flat) a pixel to the right and down, (2, rows, columns), ``away_px`` from each bin."""
    return np.stack([_change(powers, shape, away_px, where, *order) for order in ((1, 0), (0, 1))])


def _change(powers: F64, shape: tuple[int, int], away_px: F64, where: Where, across: int, down: int) -> F64:
    """Derivative of ln(flat) of that order, a pixel, (rows, columns), ``away_px`` from each bin."""
    sides = max(shape[0] - 1, 1), max(shape[1] - 1, 1)
    # 2 pixels a bin, and a way of 2 from edge to edge
    y = np.linspace(-1.0, 1.0, shape[0])[where[0]] + away_px[1] / sides[0]
    x = np.linspace(-1.0, 1.0, shape[1])[where[1]] + away_px[0] / sides[1]
    found = polygrid2d(y, x, polyder(polyder(powers, down, axis=0), across, axis=1))
    return np.asarray(found / (sides[0] ** down * sides[1] ** across))
