"""Ambient light that the hand carries through the ring's light, where no unlit frames measured it: what it makes of maps' slots.

Signal is divided by the flat, in which the ring falls off towards the picture's edge; the room's light does not come from the ring
and is divided by it all the same. So it looks brighter where the hand carries its tissue to a darker part of the ring's light. How
much there is, frames before the dye tell (ambient_told.py); a hand that hardly moves tells nothing of it.

What it adds goes on while the dye rises: a hand that drifts makes a rise of it, or hides one. So it is taken off all slots before
they are read, to the second order in the place. Steps of the ring's output o make it 1/o as much; what they make of it where frames
without light measured it (ambient_steps.py) is taken off as it lay then, and the way from there is left to this.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from shared.inflow.ambient_told import AmbientFields, AmbientTold
from shared.inflow.fall_off import FallOff, Where
from shared.inflow.maps_bins import Gathered

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class AmbientCarried:
    """What is ``told`` of it, and ``places`` (5, slots): of where the hand held slots, ``_features`` of how far that is from
    ``middle_px`` (2,), where it was before the dye. The signal of bins before the dye is the sum of ``planes`` (slots, height,
    width) times ``weights`` (slots,).
    """

    told: AmbientTold
    places: F64
    middle_px: F64
    planes: tuple[NDArray[np.int16], ...]
    weights: F64

    @classmethod
    def of(cls, gatherer: Gathered, before: int) -> Self:
        """From the ``before`` first slots, which came before the dye."""
        slots, steps = gatherer.slots, gatherer.light_steps
        first = slots[:before]
        frames = np.array([slot.frames for slot in first], np.float64)
        weights = frames / frames.sum() * [slot.step for slot in first]
        held_px = np.array([(slot.moved_right_px, slot.moved_down_px) for slot in slots])
        middle_px = np.average(held_px[:before], axis=0, weights=frames)
        samples = gatherer.samples
        if steps is not None:
            samples = steps.off_samples(samples, [slot.place for slot in slots])
        told = AmbientTold.of_slots(FallOff.of(gatherer.bins), samples, [slot.place for slot in first])
        times = np.array([slot.inverse_output / slots[0].inverse_output for slot in slots])
        places = times * _features(held_px - middle_px) - _features(-middle_px[None])
        if steps is not None:
            places -= (times - 1.0) * _features(steps.place_px[None] - middle_px)
        return cls(told, places, middle_px, tuple(gatherer.planes[slot.place] for slot in first), weights)

    def off(self, where: Where) -> tuple[F32, F64]:
        """As ``RoomLight`` has it, like the following."""
        return self._added(self.told.fields, where), self.places

    def doubts(self, where: Where) -> tuple[F32, F64]:
        """Other fields."""
        fields = self.told.fields
        others = [self._added(fields.plus(doubt), where) for doubt in self.told.doubts]
        return np.stack(others) - self._added(fields, where), self.places

    def unit(self, where: Where) -> F32:
        """About as much everywhere."""
        return np.ones(self.planes[0][where].shape, np.float32)

    def doubts_of_mean(self, where: Where, inside: NDArray[np.bool_]) -> list[F64]:
        """Other fields, everywhere the same."""
        planes, factors = self.doubts(where)
        return list(planes[..., inside].mean(axis=-1, dtype=np.float64) @ factors)

    def _added(self, fields: AmbientFields, where: Where) -> F32:
        """What light adds that goes with fields, by the features of the place, (5, rows, columns)."""
        added, even = _added(*self._changes(fields.with_signal, where)), -self._changes(fields.even, where)
        level = np.zeros(added.shape[1:], np.float32)
        for plane, weight in zip(self.planes, self.weights, strict=True):
            level += plane[where] * np.float32(weight)
        return np.asarray(added * level + even * np.float32(self.told.mean), np.float32)

    def _changes(self, field: FallOff, where: Where) -> F64:
        """Of a field round the middle, by the same features."""
        orders = (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)
        return np.stack([field.change(where, self.middle_px, *order) for order in orders])


def _added(x: F64, y: F64, xx: F64, xy: F64, yy: F64) -> F64:
    """Changes of exp(-field) where those of the field are so."""
    return np.stack([-x, -y, x * x - xx, x * y - xy, y * y - yy])


def _features(away_px: F64) -> F64:
    """Of places (n, 2) from where a function is known with its changes a pixel: what these go by to the second order, (5, n)."""
    right, down = away_px.T
    return np.stack([right, down, 0.5 * right * right, right * down, 0.5 * down * down])
