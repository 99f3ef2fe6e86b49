"""Mean signal of regions against time, where the regions follow the tissue; one pass over frames."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.ambient import AmbientTrack, as_rate
from shared.calibration import Calibration
from shared.frame import Frame
from shared.inflow.curves import RegionCurve
from shared.motion.moving_region import MovingRegion, RegionSampler
from shared.motion.pose import Motion
from shared.region import Region

F64 = NDArray[np.float64]

LEAST_SEEN_SHARE = 0.5
"""A frame that shows less of a region than this has no value for it."""
_SLOPES_EVERY_S = 1.0
"""How often it is looked at by how much a region's signal would change beside its place: as slowly as dye moves."""


@dataclass(eq=False)
class MovingCurves:
    """Takes frames with their motions one by one and keeps five numbers a region for each.

    Ambient light is taken off as ``CurveGatherer`` does it; an unlit frame shows no tissue, and is taken to lie as the lit one
    before it.
    ``places`` pairs each region with the motion from the reference view to the view in which it was marked.
    """

    calibration: Calibration
    places: Mapping[Region, Motion]
    _regions: list[tuple[MovingRegion, Motion]] = field(init=False)
    _rows: dict[str, list[tuple[float, float, float, bool, float]]] = field(init=False)
    _ambient: AmbientTrack = field(init=False)
    _last: Motion = field(default_factory=Motion)
    _unseen: dict[str, int] = field(init=False)
    _by_place: dict[str, list[tuple[float, float, float, float]]] = field(init=False)
    _first_ns: int | None = None

    def __post_init__(self) -> None:
        sampler = RegionSampler.of(self.calibration)
        self._ambient = AmbientTrack(self.calibration.camera)
        self._regions = [(MovingRegion.of(region, sampler), place.back()) for region, place in self.places.items()]
        self._rows = {region.name: [] for region in self.places}
        self._unseen = {region.name: 0 for region in self.places}
        self._by_place = {region.name: [] for region in self.places}

    def add(self, frame: Frame, motion: Motion | None) -> None:
        """Take one frame in; ``motion`` is from the reference view to it, None where it is unknown and so nothing is measured."""
        if self._first_ns is None:
            self._first_ns = frame.sensor_time_ns
        if frame.half_lit:
            return
        lit = frame.lit and frame.light_level > 0
        time_s = (frame.sensor_time_ns - self._first_ns) / 1e9 - frame.exposure_us / 2e6
        output = self.calibration.output_at(frame.light_level)
        self._ambient.see(time_s, frame.light_level if lit else 0.0, output)
        if not lit:
            self._take_unlit(frame, time_s)
            return
        if motion is None:
            return
        self._last = motion
        for region, to_reference in self._regions:
            name = region.region.name
            found = region.signal(frame, to_reference.then(motion))
            if found.signal is None or found.seen_share < LEAST_SEEN_SHARE:
                self._unseen[name] += 1
            else:
                value = found.signal.signal
                self._rows[name].append((time_s, value.value, value.u, found.signal.is_saturated, output))
                self._look_beside(region, frame, to_reference.then(motion), time_s)

    def _look_beside(self, region: MovingRegion, frame: Frame, place: Motion, time_s: float) -> None:
        """Note now and then how the signal changes a pixel to the right and down, times what is unsure of the place and the same in
        the frames before and after.
        """
        by_place = self._by_place[region.region.name]
        if place.shared_px > 0 and (not by_place or time_s - by_place[-1][0] >= _SLOPES_EVERY_S):
            right, down = region.slopes(frame, place)
            by_place.append((time_s, place.shared_px * right, place.shared_px * down, place.shared_px))

    def _take_unlit(self, frame: Frame, time_s: float) -> None:
        for region, to_reference in self._regions:
            found = region.signal(as_rate(frame), to_reference.then(self._last))
            if found.signal is not None and found.seen_share >= LEAST_SEEN_SHARE:
                self._ambient.measured(region.region.name, time_s, found.signal.signal)

    def curves(self) -> dict[str, RegionCurve]:
        """Curves of all regions so far, by name."""
        made: dict[str, RegionCurve] = {}
        for region in self.places:
            rows = np.array(self._rows[region.name], np.float64).reshape(-1, 5)
            counting = self._ambient.taken_off(region.name, rows)
            rows = counting.rows
            beside = self._beside_its_place(region.name, rows[:, 0])
            by_place, place_px = (None, None) if beside is None else (beside[:2], beside[2])
            made[region.name] = RegionCurve(
                *(region, rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3] > 0, by_place, place_px),
                by_ambient=counting.by_ambient,
            )
        return made

    def _beside_its_place(self, name: str, times_s: F64) -> F64 | None:
        """(3, frames) what one standard uncertainty of the place changes, and how large it is; None where nothing was followed."""
        looks = np.array(self._by_place[name]).T
        return np.array([np.interp(times_s, looks[0], each) for each in looks[1:]]) if looks.size else None

    def unseen(self, name: str) -> int:
        """Frames in which more than half of a region was out of the picture, and which its curve therefore lacks."""
        return self._unseen[name]
