"""What an unsure place does to maps: where a figure changes from bin to bin, it is as unsure as the place times the change.

A frame is put to the reference view with a standard uncertainty along each axis: that costs gradient times uncertainty. And every
frame is read at whole pixels, which over a tremor makes a bin as much as a pixel wider: at a sharp edge that costs a sixteenth of
the step (a quarter of a pixel, the mean of half of all roundings, over two), and a picture that was itself drawn or seen between
pixels costs as much again; a tenth of the second difference is taken. What noise alone makes of a second difference (20 u^2 where
neighbours are as noisy) is not counted. Errors of the place are alike in many frames, and are not taken to average out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]

EDGE_SHARE = 0.1
"""Of a second difference; measured on scenes under tremor: 0.06 to 0.1 of the step at their sharpest edges."""
_NOISE_OF_BEND = 20.0
"""Variance of the sum of second differences along both axes, where every bin has a variance of 1."""


@dataclass(frozen=True)
class Followed:
    """How the hand was followed: standard uncertainty of a frame's place along each axis, None where it was not, or there was
    nothing to follow it by; and what must be said of that and of the room's light.
    """

    place_u_px: float | None
    notes: tuple[str, ...] = ()


def add_place_u(
    values: F32, u: F32, first: int, last: int, place_u_bins: float, none: NDArray[np.bool_] | None = None
) -> None:
    """Add the share of an unsure place to ``u`` in rows ``first`` to ``last``; ``values`` and ``u`` (height, width), nan unknown.

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
        both = np.isfinite(back) & np.isfinite(on)
        slope = np.where(both, 0.5 * (back + on), np.where(np.isfinite(back), back, on))
        gradient2 += np.where(np.isfinite(slope), slope * slope, np.float32(0))
        bend += np.where(both, on - back, np.float32(0))
    own2 = u[first:last] ** 2
    bend2 = np.maximum(bend * bend - np.float32(_NOISE_OF_BEND) * own2, 0)
    u[first:last] = np.sqrt(own2 + gradient2 * np.float32(place_u_bins**2) + bend2 * np.float32(EDGE_SHARE**2))
