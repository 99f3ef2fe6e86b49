"""What an unsure place does to maps: where a figure changes from bin to bin, it is as unsure as the place times the change.

A frame is put to the reference view with a standard uncertainty along each axis: that costs gradient times uncertainty. What all
frames share of it (``Followed.shared_u_px``) falsifies figures; what a frame has of its own, and what rounding to whole pixels
does, is noise from slot to slot, the more the steeper the tissue's relief (``relief2``). And whole pixels make a bin under a tremor
as much as a pixel wider: a share of the second difference, none where the hand rests. What noise alone makes of a second difference
(20 u^2 where neighbours are as noisy) is not counted.

What whole pixels do to baselines is more than their noise, and known: it is taken off (``ReadAside``), and what is left is counted.
DECISION-motion.md says why.
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
RELIEF_SHARE = 0.11
"""Of a second difference, its own and what is usual round it: by how much one frame, read at whole pixels, differs from the mean
of many by relief that is finer than a bin. Measured 0.1 to 0.15 in scenes of 0.14 and 0.5 mm a pixel; as it is another in each
frame, a baseline of n frames keeps 1 / sqrt(n) of it.
"""
WIDENING = 1.0 / 96.0
"""Of a second difference: what reading at pixels anywhere within half a pixel adds to a smooth picture. Half the variance of the
rounding, 1/12 pixel squared, over the 4 square pixels that a bin is wide (the second term of a Taylor series)."""
_STANDS_OUT = 3.0
"""Times what is usual: a second difference beyond it is that of a step, and not of relief (normal ones: 1 in 370)."""
_MEDIAN_OF_SQUARE = 0.455
"""Of the square of a standard normal variable (chi squared with one degree of freedom)."""
NEAREST_PX = 0.5
"""As whole pixels are read."""
_LEFT_ASIDE = 0.5
"""Of what was read aside, once it was taken off by the change over both neighbours, which hides fine relief: measured 0.25 to 0.6.
"""
_NOISE_OF_BEND = 20.0
"""Variance of the sum of second differences along both axes, where every bin has a variance of 1."""

_NOTHING_WITHOUT_RISE = (TOP, STEEPEST)
"""Figures that are as good as 0 in a bin without rise."""


@dataclass(frozen=True)
class Followed:
    """How the hand was followed: standard uncertainty of a frame's place along each axis, None where it was not, or there was
    nothing to follow it by; what must be said of that and of the room's light; and, for each second since the first frame, what of
    the uncertainty all its frames share: all of it where that is not said. ``ambient_off``: the room's light was measured in unlit
    frames and is taken off; otherwise ambient_carried.py tells how much of the signal before the dye it is.
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
    """How unsure the place is along each axis, for all frames alike: at which baselines were read (``baseline_px``) and what the
    dye brought (``px``).

    A hand at rest is read unmoved, whatever is found of its place: it is off by where it truly lies, and of what is found there as
    much as is more than it is unsure of is taken for that (James and Stein 1961, positive part; from memory).
    """

    baseline_px: float
    px: float
    relief_share: float = 0.0
    """Of a baseline's second difference, for what its relief has that is finer than a bin."""
    widened: float = 1.0
    """By how much whole pixels widen a bin: 1 beside a tremor that spreads the rounding over all of a pixel along both axes; less
    where the hand rests, which rounds all frames alike."""

    @classmethod
    def of(cls, slots: list[Slot], before: int, injected: int, followed: Followed) -> Self:
        """The ``before`` first slots came before the dye was anywhere, and of these ``injected`` before it was given."""
        shared2, frames = _shared2(slots, followed), np.array([slot.frames for slot in slots], np.float64)
        off, at_rest = _off(slots), all(slot.at_rest for slot in slots)
        found = []
        for group in (slice(before), slice(injected, None)):
            mean = np.average(off[group], axis=0, weights=frames[group])
            found.append((0.5 * float(mean @ mean), float(shared2[group].mean())))
        widened = _widened(slots)
        relief_share = widened * RELIEF_SHARE / math.sqrt(float(frames[:before].sum()))
        if at_rest:
            baseline_px, px = (math.sqrt(max(aside2 - unsure2, 0.0)) for aside2, unsure2 in found)
            return cls(baseline_px, px, relief_share, widened)
        (aside2, unsure2), later2 = found[0], sum(found[1])
        return cls(math.sqrt(_LEFT_ASIDE**2 * aside2 + unsure2), math.sqrt(later2), relief_share, widened)


def slots_px2(slots: list[Slot], followed: Followed) -> NDArray[np.float64]:
    """Variance by which the places of slots differ along each axis (slots,): what is left of what each frame has of its own, none
    where the hand rests, and of by how much too far it was read because pixels are whole.
    """
    frames, off = np.array([slot.frames for slot in slots], np.float64), _off(slots)
    apart2 = 0.5 * np.square(off - np.average(off, axis=0, weights=frames)).sum(axis=1)
    if followed.place_u_px is None or all(slot.at_rest for slot in slots):
        return np.asarray(apart2)
    return np.asarray(apart2 + max(followed.place_u_px**2 - float(_shared2(slots, followed).mean()), 0.0) / frames)


def _off(slots: list[Slot]) -> NDArray[np.float64]:
    return np.array([(slot.right_px, slot.down_px) for slot in slots])


def _shared2(slots: list[Slot], followed: Followed) -> NDArray[np.float64]:
    return np.array([followed.shared_at(slot.time_s) for slot in slots]) ** 2


def relief2(picture: F32, noise2: F32) -> F32:
    """By what share of itself a picture (height, width) changes a pixel, squared, without what its noise of variance ``noise2``
    makes of it; 0 where it is dark or unknown.
    """
    gradient2 = np.square(_changes(picture, 0, picture.shape[0])[0]).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        found = np.maximum(gradient2 - noise2, 0) / (4 * picture * picture)
    return np.where((picture > 0) & np.isfinite(found), found, np.float32(0))


def _widened(slots: list[Slot]) -> float:
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


def count_place(
    place: PlaceU, found: F32, found_u: F32, dark: NDArray[np.bool_], rows: tuple[int, int], read: "ReadAside"
) -> None:
    """Let the uncertainties of some rows count the place too, in place; infinite where a bin is of two tissues.

    ``found`` and ``found_u`` (figures, height, width) in the maps' units, ``dark`` (height, width) where nothing rises. What
    baselines owe to how they were ``read`` goes into these rows of ``read.off``; its noise and what may be left are counted.
    """
    here = slice(*rows)
    border = np.zeros(found[0, here].shape, np.bool_)
    for k, parameter in enumerate(PARAMETERS):
        px = place.baseline_px if k == LEVEL else place.px
        none = dark if k in _NOTHING_WITHOUT_RISE else None
        change = _Change.of(found[k], found_u[k], rows, none)
        edge_share = EDGE_SHARE * place.widened
        edge2 = change.told2 * np.float32(edge_share**2)
        if k == LEVEL:
            edge2 = change.relief2(found[k, here], place.relief_share, edge_share)
            read.off[here] = change.straighten(WIDENING * place.widened)
            read.off[here] += np.float32(0.5) * (change.right * read.right_px[here] + change.down * read.down_px[here])
        found_u[k, here] = change.u(px / 2.0, edge2)
        of_two = differs_too_much(change.gradient2, parameter.most_u(found[k, here]))
        if k == TOP:
            border |= of_two
        elif k > TOP:  # all that is read of such a curve goes from one tissue's to the other's with it
            of_two |= border
        found_u[k, here][of_two] = np.inf


@dataclass(frozen=True, eq=False)
class ReadAside:
    """By how much too far to the right and down baselines were read, pixels, the mean over their frames, and what that and the
    width of a pixel have added to them (``off``); (height, width) float32 each.
    """

    right_px: F32
    down_px: F32
    off: F32

    @classmethod
    def of(cls, slots: list[Slot], early: int, arrival_s: F32) -> Self:
        """Baselines end before ``arrival_s`` (height, width), nan where it is not known, and have the ``early`` first slots at
        least. Nothing where the hand rests: what is found of its place is as well an error.
        """
        off = np.empty(arrival_s.shape, np.float32)
        if all(slot.at_rest for slot in slots):
            return cls(np.zeros_like(off), np.zeros_like(off), off)
        frames = np.array([slot.frames for slot in slots], np.float64)
        means = (np.cumsum(frames[:, None] * _off(slots), axis=0) / np.cumsum(frames)[:, None]).astype(np.float32)
        last = np.maximum(np.searchsorted([slot.end_s for slot in slots], np.nan_to_num(arrival_s)), early) - 1
        return cls(means[last, 0], means[last, 1], off)


def add_place_u(
    values: F32,
    u: F32,
    first: int,
    last: int,
    place_u_bins: float,
    none: NDArray[np.bool_] | None = None,
    relief_share: float = EDGE_SHARE,
) -> F32:
    """Add the share of an unsure place to ``u`` in rows ``first`` to ``last``; ``values`` and ``u`` (height, width), nan unknown.

    Returns the squared change from bin to bin. ``none`` (height, width) marks bins whose unknown value is as good as 0.
    ``relief_share`` of a second difference is what relief, which is no step, is off by.
    """
    change = _Change.of(values, u, (first, last), none)
    edge2 = change.told2 * np.float32(EDGE_SHARE**2)
    if relief_share != EDGE_SHARE:
        edge2 = change.relief2(values[first:last], relief_share, EDGE_SHARE)
    u[first:last] = change.u(place_u_bins, edge2)
    return change.gradient2


@dataclass(eq=False)
class _Change:
    """How a figure changes over some rows, (rows, width) each: from bin to bin, down and to the right, second difference, what of
    its square noise does not explain, and the figure's variance by noise. ``gradient2`` is the squared change.
    """

    down: F32
    right: F32
    gradient2: F32
    bend: F32
    told2: F32
    own2: F32

    @classmethod
    def of(cls, values: F32, u: F32, rows: tuple[int, int], none: NDArray[np.bool_] | None = None) -> Self:
        """Of ``values`` (height, width), nan unknown; ``none`` (height, width) marks bins whose unknown value is as good as 0."""
        with np.errstate(over="ignore", invalid="ignore"):  # a figure that means nothing is endlessly unsure, or nan
            slopes, bents = _changes(values, *rows, none)
            gradient2, bend, own2 = np.square(slopes).sum(axis=0), bents.sum(axis=0), u[slice(*rows)] ** 2
            told2 = np.maximum(bend * bend - np.float32(_NOISE_OF_BEND) * own2, 0)
        return cls(slopes[0], slopes[1], gradient2, bend, told2, own2)

    def relief2(self, values: F32, relief_share: float, edge_share: float) -> F32:
        """What pixels do to straightened ``values`` of these rows, squared: to relief, or to a step, where they are bent by much
        more, in proportion, than is usual there.
        """
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            values2 = values * values
            bent2 = self.told2 / values2
            known = bent2[np.isfinite(bent2)]
            usual2 = float(np.median(known)) / _MEDIAN_OF_SQUARE if known.size else 0.0
            relief2 = np.float32(relief_share**2) * (self.told2 + np.float32(usual2) * values2)
            is_relief = bent2 <= _STANDS_OUT**2 * usual2
            return np.where(is_relief, relief2, self.told2 * np.float32(edge_share**2))

    def straighten(self, share: float) -> F32:
        """What a ``share`` of the second difference comes to, as far as noise lets it be known; its own noise is counted."""
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            told = np.where(self.bend != 0, self.told2 / (self.bend * self.bend), np.float32(0))
            off = np.float32(share) * told
            # five bins go into it, the middle one four times
            self.own2 = self.own2 * ((1 + 4 * off) ** 2 + 4 * off * off)
            return np.asarray(off * self.bend)

    def u(self, place_u_bins: float, edge2: F32) -> F32:
        """Standard uncertainty with that of the place, and with what edges add, squared."""
        with np.errstate(over="ignore", invalid="ignore"):
            return np.asarray(np.sqrt(self.own2 + self.gradient2 * np.float32(place_u_bins**2) + edge2))


def _changes(values: F32, first: int, last: int, none: NDArray[np.bool_] | None = None) -> tuple[F32, F32]:
    """Change from bin to bin, half of that over both neighbours, and second difference, of rows ``first`` to ``last``, downwards
    and to the right: (2, rows, width) each.

    Where a neighbour is unknown the change towards the other one counts; without either, none.
    """
    rows = slice(max(first - 1, 0), min(last + 1, values.shape[0]))
    inner = values[rows] if none is None else np.where(none[rows] & np.isnan(values[rows]), np.float32(0), values[rows])
    near = np.pad(inner, ((int(first == 0), int(last == values.shape[0])), (1, 1)), constant_values=np.nan)
    here = near[1:-1, 1:-1]
    slopes, bents = np.empty((2, 2, *here.shape), np.float32)
    for k, (before, after) in enumerate(((near[:-2, 1:-1], near[2:, 1:-1]), (near[1:-1, :-2], near[1:-1, 2:]))):
        back, on = here - before, after - here
        back, on = np.where(np.isnan(back), on, back), np.where(np.isnan(on), back, on)
        slopes[k], bents[k] = np.float32(0.5) * (back + on), on - back
        alone = np.isnan(slopes[k])
        slopes[k][alone], bents[k][alone] = 0, 0
    return slopes, bents
