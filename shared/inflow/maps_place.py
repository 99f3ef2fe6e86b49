"""What an unsure place does to maps: where a figure changes from bin to bin, it is as unsure as the place times the change.

A frame is put to the reference view with a standard uncertainty along each axis: that costs gradient times uncertainty, of which
what a frame has of its own averages out in a mean over frames (``Followed.shared_u_px`` is what does not). And every frame is read
at whole pixels, which over a tremor makes a bin as much as a pixel wider: at a sharp edge that costs a sixteenth of the step (a
quarter of a pixel, the mean of half of all roundings, over two), and that share of the second difference is taken, though smoother
relief costs a quarter of it. What noise alone makes of a second difference (20 u^2 where neighbours are as noisy) is not counted.
"""

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from shared.inflow.maps_local_cubic import LEAST_POINTS
from shared.inflow.maps_slots import Slot

F32 = NDArray[np.float32]

EDGE_SHARE = 0.065
"""Of a second difference: 0.0625 at the sharpest edges, by closed form; 0.015 to 0.02 in the relief of scenes, measured."""
_NOISE_OF_BEND = 20.0
"""Variance of the sum of second differences along both axes, where every bin has a variance of 1."""


@dataclass(frozen=True)
class Followed:
    """How the hand was followed: standard uncertainty of a frame's place along each axis, None where it was not, or there was
    nothing to follow it by; what must be said of that and of the room's light; and, for each second since the first frame, what of
    the uncertainty all its frames share: all of it where that is not said. ``ambient_off``: the room's light was measured in unlit
    frames and is taken off.
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
    """How unsure the place is, along each axis, at which baselines were read (``baseline_px``) and all that the dye brought
    (``px``), and how much that differs from slot to slot (``slot_px``).

    What frames share of it stays, and each adds something of its own, which averages out as far as what is read is a mean:
    registration's part, and by how much too far a frame was read because pixels are whole, which is known. Only a baseline with the
    room's light in it is no property of a place, as that light stays with the camera: there nothing is taken to average out.
    """

    baseline_px: float
    px: float
    slot_px: float

    @classmethod
    def of(cls, slots: list[Slot], early: int, followed: Followed | None) -> Self | None:
        """A baseline is the mean of the ``early`` first slots, the rest of a few at least; None where nothing was followed."""
        if followed is None or followed.place_u_px is None:
            return None
        shared2 = np.array([followed.shared_at(slot.time_s) for slot in slots]) ** 2
        own2 = max(followed.place_u_px**2 - float(shared2.mean()), 0.0)
        frames = np.array([slot.frames for slot in slots], np.float64)
        off_px = np.array([(slot.right_px, slot.down_px) for slot in slots])

        def apart2(run: slice) -> float:
            mean_off = np.average(off_px[run], axis=0, weights=frames[run])
            return float(own2 / frames[run].sum() + 0.5 * np.square(mean_off).sum())

        before, after = slice(0, early), range(early, len(slots))
        few = [slice(first, first + LEAST_POINTS) for first in after[: 1 - LEAST_POINTS]] or [slice(early, None)]
        baseline2 = float(shared2[before].mean()) + apart2(before)
        if not followed.ambient_off:
            baseline2 = followed.place_u_px**2 + 0.5 * float(np.square(off_px).sum(axis=1).mean())
        return cls(
            math.sqrt(baseline2),
            math.sqrt(float(shared2[early:].mean()) + float(np.mean([apart2(run) for run in few]))),
            math.sqrt(float(np.mean([apart2(slice(at, at + 1)) for at in after]))),
        )

    def noisier(self, gradient2: F32, noise2: F32) -> F32:
        """How much noisier slots are than they say, where a mean of a few has a variance ``noise2`` and so changes beside it."""
        with np.errstate(invalid="ignore", divide="ignore"):
            more = gradient2 * np.float32(0.25 * self.slot_px**2 / LEAST_POINTS) / noise2
        return np.sqrt(np.float32(1) + np.where(np.isfinite(more), more, np.float32(0)), dtype=np.float32)


def add_place_u(
    values: F32, u: F32, first: int, last: int, place_u_bins: float, none: NDArray[np.bool_] | None = None
) -> F32:
    """Add the share of an unsure place to ``u`` in rows ``first`` to ``last``; ``values`` and ``u`` (height, width), nan unknown.

    Returns the squared change from bin to bin.
    ``none`` (height, width) marks bins whose unknown value is as good as 0. Where a neighbour is unknown the change towards the
    other one counts; without either, none.
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
    with np.errstate(over="ignore", invalid="ignore"):  # a figure that means nothing is endlessly unsure, or nan
        own2 = u[first:last] ** 2
        bend2 = np.maximum(bend * bend - np.float32(_NOISE_OF_BEND) * own2, 0)
        u[first:last] = np.sqrt(own2 + gradient2 * np.float32(place_u_bins**2) + bend2 * np.float32(EDGE_SHARE**2))
    return gradient2
