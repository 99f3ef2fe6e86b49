"""Slots handed to another process: what is read of them is what the gatherer itself would have given."""

from pathlib import Path

import numpy as np

from shared.inflow.handover import hand_over, taken_over
from shared.inflow.maps import inflow_maps
from shared.inflow.maps_slots import Bins, MapGatherer
from shared.region import Region
from tests.shared.inflow.simulated_frames import Patch, calibration, frames


def test_what_was_handed_over_gives_the_same_maps(tmp_path: Path) -> None:
    known = calibration(17, 48, ((3, 5),))
    gatherer = MapGatherer(known, 24, Bins.of(known))
    for frame in frames(known, (Patch(30.0), Patch(90.0)), 60.0):
        gatherer.add(frame)
    hand_over(tmp_path / "run", gatherer)
    hand_over(tmp_path / "run", gatherer)  # what an imager that died left there is in nobody's way
    other = taken_over(tmp_path / "run")
    reference = Region("base", "rectangle", (0, 0, 20, 17))
    one, again = inflow_maps(gatherer, reference, 10.0), inflow_maps(other, reference, 10.0)
    assert np.array_equal(one.values, again.values, equal_nan=True)
    assert np.array_equal(one.u, again.u, equal_nan=True)
    assert np.array_equal(one.classes, again.classes)
    assert one.about == again.about
