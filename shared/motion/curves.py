"""Mean signal of regions against time, where the regions follow the tissue; one pass over frames.

What the hand carries of ambient light is taken off, where unlit frames do not follow it (shared/inflow/ambient_carried.py).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.ambient import AmbientTrack, Counting, as_rate
from shared.calibration import Calibration
from shared.frame import Frame
from shared.inflow.ambient_told import LITTLE, AmbientFields, AmbientTold
from shared.inflow.before_dye import BeforeDye
from shared.inflow.curves import RegionCurve
from shared.motion.moving_region import MovingRegion, RegionSampler
from shared.motion.pose import Motion, to_frames
from shared.region import Region

F64 = NDArray[np.float64]

LEAST_SEEN_SHARE = 0.5
"""A frame that shows less of a region than this has no value for it."""
_SLOPES_EVERY_S = 1.0
"""How often it is looked at by how much a region's signal would change beside its place: as slowly as dye moves."""
_FEWEST_BEFORE = 3
"""Frames whose mean is a region's signal before the dye."""
_NEGLIGIBLE = 0.01
"""Of the noise that a mean over all frames has: an uncertainty that is less need not be counted."""


@dataclass(frozen=True, eq=False)
class CarriedLight:
    """Ambient light that the hand carried, as it was ``told`` of frames before ``until_s``, and taken off curves."""

    told: AmbientTold
    until_s: float


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
    _rows: dict[str, list[tuple[float, ...]]] = field(init=False)
    _ambient: AmbientTrack = field(init=False)
    _last: Motion = field(default_factory=Motion)
    _unseen: dict[str, int] = field(init=False)
    _by_place: dict[str, list[tuple[float, float, float, float]]] = field(init=False)
    _before: BeforeDye = field(init=False)
    _dark: dict[str, list[tuple[float, ...]]] = field(init=False)
    ambient_note: str = field(init=False, default="")
    """What must be said of the room's light in curves that were made."""
    carried: CarriedLight | None = field(init=False, default=None)
    """What was taken off curves that were made; None where unlit frames followed ambient light as it lay."""
    _first_ns: int | None = None

    def __post_init__(self) -> None:
        sampler = RegionSampler.of(self.calibration)
        self._ambient = AmbientTrack(self.calibration.camera)
        self._regions = [(MovingRegion.of(region, sampler), place.back()) for region, place in self.places.items()]
        self._rows = {region.name: [] for region in self.places}
        self._unseen = {region.name: 0 for region in self.places}
        self._by_place = {region.name: [] for region in self.places}
        self._before = BeforeDye(self.calibration)
        self._dark = {region.name: [] for region in self.places}

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
        factor = self.calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
        self._before.take(frame.pixels, motion, factor, time_s)
        for region, to_reference in self._regions:
            name, place = region.region.name, to_reference.then(motion)
            found = region.signal(frame, place)
            if found.signal is None or found.seen_share < LEAST_SEEN_SHARE:
                self._unseen[name] += 1
            else:
                value = found.signal.signal
                held = place.dx_px, place.dy_px, place.rotation_deg, place.magnification
                self._rows[name].append((time_s, value.value, value.u, found.signal.is_saturated, output, *held))
                self._look_beside(region, frame, place, time_s)

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
            place = to_reference.then(self._last)
            found = region.signal(as_rate(frame), place)
            if found.signal is not None and found.seen_share >= LEAST_SEEN_SHARE:
                self._ambient.measured(region.region.name, time_s, found.signal.signal)
                held = place.dx_px, place.dy_px, place.rotation_deg, place.magnification
                self._dark[region.region.name].append(held)

    def curves(self) -> dict[str, RegionCurve]:
        """Curves of all regions so far, by name."""
        made: dict[str, RegionCurve] = {}
        told, self.ambient_note = self._before.told(), ""
        self.carried = None if self._ambient.way == "whole" else CarriedLight(told, self._before.until_s)
        found = {region: self._without_carried(region, told) for region in self.places}
        # regions and reference are off alike: each has the same ways, in the same order
        counts = np.any([_counts(light.rows, by_field) for light, by_field in found.values()], axis=0)
        for region, (light, by_field) in found.items():
            rows = light.rows
            beside = self._beside_its_place(region.name, rows[:, 0])
            by_place, place_px = (None, None) if beside is None else (beside[:2], beside[2])
            if counts.any():
                by_place = np.vstack([np.zeros((2, len(rows))) if by_place is None else by_place, by_field[counts]])
            made[region.name] = RegionCurve(
                *(region, rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3] > 0, by_place, place_px),
                by_ambient=light.by_ambient,
            )
        return made

    def _without_carried(self, region: Region, told: AmbientTold) -> tuple[Counting, F64]:
        """Rows of a region that count, as if it had always lain where it was marked, and (ways, frames) what they would change by
        if what is told of ambient light were off by one standard uncertainty.

        Where unlit frames follow ambient light it is taken off as it lies.
        """
        rows, name, ambient = np.array(self._rows[region.name], np.float64).reshape(-1, 9), region.name, self._ambient
        lit, dark = rows[:, 5:], np.array(self._dark[name]).reshape(-1, 4)
        if ambient.way == "whole" or not (lit != (0.0, 0.0, 0.0, 1.0)).any():
            light = ambient.taken_off(name, rows)
            return light, np.zeros((len(told.doubts), len(light.rows)))
        early = rows[:, 0] < self._before.until_s
        early[:_FEWEST_BEFORE] = True
        before, output = float(rows[early, 1].mean()), ambient.first_output

        def without(fields: AmbientFields) -> Counting:
            (added, even), (added_dark, even_dark) = (
                self._added(region, places, told, fields) for places in (lit, dark)
            )
            with_signal = before / (1.0 + float(added[early].mean()))
            changed = rows.copy()
            changed[:, 1] -= output / rows[:, 4] * (with_signal * added + even)
            return ambient.taken_off(name, changed, output * (with_signal * added_dark + even_dark))

        light, fields = without(told.fields), told.fields
        by_field = np.array([without(fields.plus(doubt)).rows[:, 1] - light.rows[:, 1] for doubt in told.doubts])
        most = np.abs(by_field).max(initial=0.0)
        moved = np.abs(light.rows[:, 1] - ambient.taken_off(name, rows).rows[:, 1]).max(initial=0.0)
        if max(moved, most) > LITTLE * abs(before):
            self.ambient_note = told.note(is_wide=True)
        return light, by_field

    def _added(self, region: Region, places: F64, told: AmbientTold, fields: AmbientFields) -> tuple[F64, F64]:
        """``AmbientTold.added`` at ``places`` (frames, 4) of ``to_frames``, the mean over a region, (frames,) each."""
        shape = self.calibration.camera.shape
        y, x = np.divmod(region.indices(shape), shape[1])
        with_signal, even = told.added(fields, _like(np.stack([x, y], axis=1)), to_frames(places, shape))
        return with_signal.mean(axis=1), even.mean(axis=1)

    def _beside_its_place(self, name: str, times_s: F64) -> F64 | None:
        """(3, frames) what one standard uncertainty of the place changes, and how large it is; None where nothing was followed."""
        looks = np.array(self._by_place[name]).T
        return np.array([np.interp(times_s, looks[0], each) for each in looks[1:]]) if looks.size else None

    def unseen(self, name: str) -> int:
        """Frames in which more than half of a region was out of the picture, and which its curve therefore lacks."""
        return self._unseen[name]


def _like(places_px: NDArray[np.integer]) -> F64:
    """Four points (4, 2) that have the mean and the covariance of places (n, 2), so that means of what is quadratic are the same
    (Julier and Uhlmann 1997; from memory).
    """
    middle, covariance = places_px.mean(axis=0), np.cov(places_px.T, bias=True)
    variances, ways = np.linalg.eigh(covariance)
    away = np.sqrt(2.0 * np.maximum(variances, 0.0)) * ways
    return np.concatenate([middle + away.T, middle - away.T])


def _counts(rows: F64, by_field: F64) -> NDArray[np.bool_]:
    """Which of (ways, frames) changes of rows are not lost in their noise, (ways,)."""
    noise = np.linalg.norm(rows[:, 2]) / max(len(rows), 1)
    return np.asarray(np.abs(by_field).max(axis=1, initial=0.0) > _NEGLIGIBLE * noise)
