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

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from shared.inflow.fall_off import FallOff, Where
from shared.inflow.maps_bins import Gathered

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class AmbientCarried:
    """``share`` (0 to 1) of the signal before the dye that goes with the flat as ambient light does, with its standard uncertainty.

    ``places`` (5, slots): of where the hand held slots, ``_features`` of how far that is from ``middle_px`` (2,), where it was
    before the dye; the signal of bins before the dye is the sum of ``planes`` (slots, height, width) times ``weights`` (slots,).
    """

    share: float
    share_u: float
    places: F64
    middle_px: F64
    fall_off: FallOff
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
        fall_off = FallOff.of(gatherer.bins)
        share, share_u = fall_off.share(*samples.together([slot.place for slot in first]))
        output = np.array([slots[0].inverse_output / slot.inverse_output for slot in slots])
        places = _features(held_px - middle_px) / output - _features(-middle_px[None])
        if steps is not None:
            places -= _features(steps.place_px[None] - middle_px) * (1.0 / output - 1.0)
        planes = tuple(gatherer.planes[slot.place] for slot in first)
        return cls(share, share_u, places, middle_px, fall_off, planes, weights)

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
        orders = (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)
        x, y, xx, xy, yy = (self.fall_off.change(where, self.middle_px, *order) for order in orders)
        added = np.stack([-x, -y, x * x - xx, x * y - xy, y * y - yy]).astype(np.float32)
        level = np.zeros(added.shape[1:], np.float32)
        for plane, weight in zip(self.planes, self.weights, strict=True):
            level += plane[where] * np.float32(weight)
        return np.asarray(added * level)


def _features(away_px: F64) -> F64:
    """Of places (n, 2) from where a function is known with its changes a pixel: what these go by to the second order, (5, n)."""
    right, down = away_px.T
    return np.stack([right, down, 0.5 * right * right, right * down, 0.5 * down * down])
