"""What an unsure place does to maps: where a figure changes from bin to bin, it is as unsure as the place times the change.

A frame is put to the reference view with a standard uncertainty along each axis: that costs gradient times uncertainty. What all
frames share of it (``Followed.shared_u_px``) falsifies figures; what a frame has of its own, and what rounding to whole pixels
does, is noise from slot to slot, the more the steeper the tissue's relief (``relief2``). And whole pixels make a bin under a tremor
as much as a pixel wider: a share of the second difference, none where the hand rests. What noise alone makes of a second difference
(20 u^2 where neighbours are as noisy) is not counted.
"""

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from shared.inflow.map_values import PARAMETERS
from shared.inflow.maps_reading import LEVEL, STEEPEST, TOP
from shared.inflow.maps_slots import Slot

F32 = NDArray[np.float32]

EDGE_SHARE = 0.04
"""Of a second difference. A step between two bins changes both by a sixteenth of itself (a quarter of a pixel, the mean of half of
all roundings, over two), which a 95 % interval then just holds. A step anywhere costs 0.030, root mean square over its places, by
closed form; the relief of scenes 0.015 to 0.02, measured.
"""
NEAREST_PX = 0.5
"""As whole pixels are read."""
_NOISE_OF_BEND = 20.0
"""Variance of the sum of second differences along both axes, where every bin has a variance of 1."""

_NOTHING_WITHOUT_RISE = (TOP, STEEPEST)
"""Figures that are as good as 0 in a bin without rise."""


@dataclass(frozen=True)
class Followed:
    """How the hand was followed: standard uncertainty of a frame's place along each axis, None where it was not, or there was
    nothing to follow it by; what must be said of that and of the room's light; and, for each second since the first frame, what of
    the uncertainty all its frames share: all of it where that is not said. ``ambient_off``: the room's light was measured in unlit
    frames and is taken off; otherwise ambient_carried.py tells how much of a baseline it is.
    """

    place_u_px: float | None
    notes: tuple[str, ...] = ()
    shared_u_px: tuple[float, ...] = ()
    ambient_off: bool = False

    def shared_at(self, time_s: float) -> float:
        """What the frames round a moment share; 0 where nothing was followed."""
        if self.place_u_px is None or not self.shared_u_px:
            return self.place_u_px or 0.0
        return self.shared_u_px[min(max(int(time_s), 0), len(self.shared_u_px) - 1)]


@dataclass(frozen=True)
class PlaceU:
    """How unsure the place is along each axis: at which baselines were read (``baseline_px``) and what the dye brought (``px``),
    for all their frames alike; and the variance by which the places of slots differ, ``slot_px2`` (slots,): what is left of what
    each frame has of its own, and of by how much too far it was read because pixels are whole.
    """

    baseline_px: float
    px: float
    slot_px2: NDArray[np.float64]
    edge_share: float = EDGE_SHARE
    """Less where the hand rests, which rounds all frames alike."""

    @classmethod
    def of(cls, slots: list[Slot], early: int, followed: Followed | None) -> Self | None:
        """The ``early`` first slots came before the dye; None where nothing was followed."""
        if followed is None or followed.place_u_px is None:
            return None
        shared2 = np.array([followed.shared_at(slot.time_s) for slot in slots]) ** 2
        own2 = max(followed.place_u_px**2 - float(shared2.mean()), 0.0)
        off2 = np.array([slot.right_px**2 + slot.down_px**2 for slot in slots])
        apart2 = own2 / np.array([slot.frames for slot in slots]) + 0.5 * off2
        return cls(
            math.sqrt(float(shared2[:early].mean())),
            math.sqrt(float(shared2[early:].mean())),
            apart2,
            EDGE_SHARE * _widened(slots),
        )


def relief2(picture: F32, noise2: F32) -> F32:
    """By what share of itself a picture (height, width) changes a pixel, squared, without what its noise of variance ``noise2``
    makes of it; 0 where it is dark or unknown.
    """
    gradient2, _ = _changes(picture, 0, picture.shape[0])
    with np.errstate(invalid="ignore", divide="ignore"):
        found = np.maximum(gradient2 - noise2, 0) / (4 * picture * picture)
    return np.where((picture > 0) & np.isfinite(found), found, np.float32(0))


def _widened(slots: list[Slot]) -> float:
    """By how much whole pixels widen a bin, beside a tremor that spreads the rounding over all of a pixel along both axes."""
    held = np.average([slot.held for slot in slots], axis=0, weights=[slot.frames for slot in slots])
    return min(max(float(held[2] - held[0] ** 2 - held[1] ** 2) * 6.0, 0.0), 1.0)


def differs_too_much(gradient2: F32, most_u: F32) -> NDArray[np.bool_]:
    """Where half a pixel, the nearest that a frame is read to, changes a figure by more than the uncertainty it may have.

    ``gradient2`` is the squared change from bin to bin. There a bin lies on the border of two tissues, or of tissue and drape, and
    is of either as the hand happens to hold it: the few bins of sharp outlines would be the most wrong of all that are shown.
    """
    half_px_bins = np.float32(NEAREST_PX / 2.0)
    with np.errstate(over="ignore", invalid="ignore"):
        return np.asarray(gradient2 * half_px_bins**2 > most_u * most_u)


def count_place(place: PlaceU, found: F32, found_u: F32, dark: NDArray[np.bool_], rows: tuple[int, int]) -> None:
    """Let the uncertainties of some rows count the place too, in place; infinite where a bin is of two tissues.

    ``found`` and ``found_u`` (figures, height, width) in the maps' units, ``dark`` (height, width) where nothing rises.
    """
    for k, parameter in enumerate(PARAMETERS):
        px = place.baseline_px if k == LEVEL else place.px
        none = dark if k in _NOTHING_WITHOUT_RISE else None
        gradient2 = add_place_u(found[k], found_u[k], *rows, px / 2.0, none, place.edge_share)
        here = slice(*rows)
        found_u[k, here][differs_too_much(gradient2, parameter.most_u(found[k, here]))] = np.inf


def add_place_u(
    values: F32,
    u: F32,
    first: int,
    last: int,
    place_u_bins: float,
    none: NDArray[np.bool_] | None = None,
    edge_share: float = EDGE_SHARE,
) -> F32:
    """Add the share of an unsure place to ``u`` in rows ``first`` to ``last``; ``values`` and ``u`` (height, width), nan unknown.

    Returns the squared change from bin to bin. ``none`` (height, width) marks bins whose unknown value is as good as 0.
    """
    gradient2, bend = _changes(values, first, last, none)
    with np.errstate(over="ignore", invalid="ignore"):  # a figure that means nothing is endlessly unsure, or nan
        own2 = u[first:last] ** 2
        bend2 = np.maximum(bend * bend - np.float32(_NOISE_OF_BEND) * own2, 0)
        u[first:last] = np.sqrt(own2 + gradient2 * np.float32(place_u_bins**2) + bend2 * np.float32(edge_share**2))
    return gradient2


def _changes(values: F32, first: int, last: int, none: NDArray[np.bool_] | None = None) -> tuple[F32, F32]:
    """Squared change from bin to bin, and second difference, of rows ``first`` to ``last``.

    Where a neighbour is unknown the change towards the other one counts; without either, none.
    """
    rows = slice(max(first - 1, 0), min(last + 1, values.shape[0]))
    inner = values[rows] if none is None else np.where(none[rows] & np.isnan(values[rows]), np.float32(0), values[rows])
    near = np.pad(inner, ((int(first == 0), int(last == values.shape[0])), (1, 1)), constant_values=np.nan)
    here = near[1:-1, 1:-1]
    gradient2, bend = np.zeros_like(here), np.zeros_like(here)
    for before, after in ((near[:-2, 1:-1], near[2:, 1:-1]), (near[1:-1, :-2], near[1:-1, 2:])):
        back, on = here - before, after - here
        back, on = np.where(np.isnan(back), on, back), np.where(np.isnan(on), back, on)
        slope, bent = np.float32(0.5) * (back + on), on - back
        alone = np.isnan(slope)
        slope[alone], bent[alone] = 0, 0
        with np.errstate(over="ignore"):
            gradient2 += slope * slope
        bend += bent
    return gradient2, bend
