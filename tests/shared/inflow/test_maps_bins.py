"""Ways in which the room's light may be off, read together: as much as each read by itself."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.inflow import maps_reading as reading
from shared.inflow.fall_off import Where
from shared.inflow.maps_bins import MOST_WAYS, Against, Reading, Series
from tests.shared.inflow.simulated_frames import Patch, calibration, frames
from tests.shared.inflow.test_maps import INJECTED_S, gathered

HEIGHT, WIDTH = 192, 256


@dataclass(frozen=True)
class Unsure:
    """Ambient light of which nothing is known: ``ways`` (ways, 1, height, width), growing as ``factors`` (1, slots) say."""

    ways: NDArray[np.float32]
    factors: NDArray[np.float64]

    def off(self, where: Where) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
        return np.zeros_like(self.ways[0][:, *where]), self.factors

    def doubts(self, where: Where) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
        return self.ways[:, :, *where], self.factors

    def unit(self, where: Where) -> NDArray[np.float32]:
        return np.full(self.ways[0, 0][where].shape, 2.0, np.float32)

    def doubts_of_mean(self, where: Where, inside: NDArray[np.bool_]) -> Sequence[NDArray[np.float64]]:
        raise AssertionError("no region is read")


def test_ways_read_by_turns_do_as_much_as_each_read_by_itself() -> None:
    """Squares of what four smooth fields do to baselines and peaks, which cross terms would make half or twice."""
    gatherer = gathered(frames(calibration(HEIGHT, WIDTH), (Patch(30.0),), 60.0), HEIGHT, WIDTH)
    gatherer.finish()
    y, x = np.mgrid[: HEIGHT // 2, : WIDTH // 2] / (WIDTH // 2)
    fields = 0.01 * np.stack([1.0 + x, 1.0 + 0.5 * y, 1.5 - x, 0.7 + x * y])[:, None]
    series = Series.of(gatherer, INJECTED_S)
    factors = 1.0 + np.arange(len(gatherer.slots))[None] / len(gatherer.slots)
    light = Unsure(fields.astype(np.float32), factors)
    assert len(light.ways) == MOST_WAYS
    some = Reading.of(gatherer, series, Against(), [], None)
    found = some.found(map)
    together = some.per_unit2(light, found, map)
    alone = [some.per_unit2(Unsure(one[None], factors), found, map) for one in light.ways]
    for figure in (reading.LEVEL, reading.TOP):
        wanted = np.sum([each[figure] for each in alone], axis=0)
        assert wanted.min() > 1e-6
        np.testing.assert_allclose(together[figure], wanted, rtol=0.15)
        np.testing.assert_allclose(together[figure][1:-1, 1:-1], wanted[1:-1, 1:-1], rtol=0.05)
