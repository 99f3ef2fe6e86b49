"""Some bins of every frame that the hand has moved, summed with where it held them: how values go by the place within slots.

Slots keep means, in which a tremor leaves no trace. A bin every few rows and columns is enough for what changes slowly over the
picture (ambient_carried.py): 0.1 ms a frame of 1456x1088, where adding it takes 0.29. Which of the pixels that it lies between a
bin takes is drawn by lot, so that no value goes by the place for being read beside it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from shared.inflow.maps_motion import MovedBins, MovedFrame

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

_SAMPLED = 40
"""Bins of a row or column, at least; fewer than twice as many."""


@dataclass(frozen=True, eq=False)
class Samples:
    """A slot's sums at each of the places that slots have, and, last, those of the slot that is being filled.

    ``sums`` (places + 1, 3, rows, columns) float32 of values, and of values times how far to the right and down the hand held the
    picture's middle, pixels; nan where one of the frames does not show a bin. ``held`` (places + 1, 6): frames, sums of how far to
    the right and down, and of the squares and the product of both.
    """

    sums: F32
    held: F64

    @classmethod
    def of(cls, places: int, shape: tuple[int, int]) -> Self:
        """For bins of (height, width)."""
        rows, columns = (len(range(0, side, spacing(shape))) for side in shape)
        return cls(np.zeros((places + 1, 3, rows, columns), np.float32), np.zeros((places + 1, 6)))

    def add(self, bins: MovedBins, frames: Sequence[MovedFrame], shape: tuple[int, int]) -> None:
        """Add frames to the slot that is being filled."""
        middle = np.array((0.5 * (shape[1] - 1), 0.5 * (shape[0] - 1), 1.0))
        for frame in frames:
            right, down = frame.places @ middle - 2.0 * middle[:2]
            bins.sample(frame, spacing(shape), (right, down), self.sums[-1])
            self.held[-1] += 1.0, right, down, right * right, right * down, down * down

    def close(self, place: int) -> None:
        """The slot that is being filled gets a place, and another one is begun."""
        for each in (self.sums, self.held):
            each[place] = each[-1]
            each[-1] = 0.0

    def join(self, place: int, other: int) -> None:
        """What lies at another place goes into this one."""
        for each in (self.sums, self.held):
            each[place] += each[other]

    def move(self, place: int, other: int) -> None:
        """What lies there goes into the other one."""
        self.join(other, place)
        for each in (self.sums, self.held):
            each[place] = 0.0

    def together(self, places: Sequence[int]) -> tuple[F64, F64]:
        """Sums of slots, (3, rows, columns) and (6,)."""
        chosen = list(places)
        return self.sums[chosen].sum(axis=0, dtype=np.float64), self.held[chosen].sum(axis=0)


def spacing(shape: tuple[int, int]) -> int:
    """Every how manieth bin of (height, width) is sampled."""
    return max(min(shape) // _SAMPLED, 1)
