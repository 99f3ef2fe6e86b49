"""A run that goes on follows the hand: frames are gathered where the tissue lay, and what is lost is said while it is lost."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from device.inflow_maps import LiveMaps, Marks
from device.maps_reader import MapsReader
from shared.inflow.handover import Answer, HandedOver, Order, taken_over
from shared.region import Region
from tests.shared.motion.test_track import CALIBRATION, frames

REFERENCE = Region.parse("base:100,80,40,40")


class Reading(MapsReader):
    """A fake that keeps what it is asked."""

    def __init__(self) -> None:
        self.order: Order | None = None
        self.given: HandedOver | None = None

    def load(self) -> None:
        pass

    def read(self, order: Order, folder: Path) -> Answer:
        given = taken_over(folder)
        self.order, self.given = order, replace(given, planes=given.planes.copy())
        return Answer("")


def test_a_run_is_gathered_in_one_view_and_says_what_it_lost(tmp_path: Path) -> None:
    """Drift of 2 px a frame; from 2 s on something else is in the way for 1.5 s. Slots keep the texture of the first frame."""
    reader, running = Reading(), [tmp_path / "run.zarr"]
    maps = LiveMaps(CALIBRATION, lambda: running[0], lambda: Marks(REFERENCE, None), reader, tmp_path / "given")
    path = [*((100 + 2 * step, 60) for step in range(20)), *[(700, 20)] * 15, *((140 - 2 * k, 62) for k in range(20))]
    told = []
    for frame in frames(*path):
        maps.take(frame)
        told.append(maps.hand_trouble)
    assert not any(told[:30])
    assert "lost from sight for 2 s" in told[34]
    assert "mark the reference anew" in told[34]
    assert not any(told[35:])
    maps.close()
    order, given = reader.order, reader.given
    assert order is not None
    assert given is not None
    assert order.followed is not None
    assert order.followed.place_u_px is not None
    assert "15 frames without motion lock" in order.followed.notes[0]
    assert Region.parse(order.reference) == Region.parse("base:100,80,40,40")
    first, last = (given.planes[slot.place][10:-10, 30:-30].astype(float) for slot in (given.slots[0], given.slots[-1]))
    assert np.corrcoef(first.ravel(), last.ravel())[0, 1] > 0.9
    assert sum(slot.frames for slot in given.slots) == 40
