"""Mean signal of regions against time, gathered in one pass over frames."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.ambient import AmbientTrack, as_rate
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import Frame
from shared.motion.moving_region import MovingRegion, RegionSampler
from shared.motion.pose import Motion
from shared.region import Region
from shared.signal import RegionSignal

F64 = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class RegionCurve:
    """One region's (frames,) arrays.

    ``times_s`` is the middle of the exposure since the first frame's readout; ``signal`` counts a millisecond at unit gain and full
    light, ``signal_u`` its standard uncertainty from the photon transfer noise; ``saturated`` marks frames whose mean cannot be
    trusted there. Frames whose light was off have no signal and are left out. ``by_place`` (2 to 4, frames), where a region follows
    the tissue, is what the signal would change if the whole run were read off by one standard uncertainty: of the place, to the
    right and down, of the share of ambient light that the hand carries, and nearer where the distance changed; ``place_px``
    (frames,) is that uncertainty of the place in pixels, where it is known.
    ``by_ambient`` (moments, frames), where ambient light was measured at steps of the ring's level, is what the signal would change
    if it were one standard uncertainty less at one of these moments.
    Raises Refused for arrays of different lengths, for numbers that are none, and for times that do not rise.
    """

    region: Region
    times_s: F64
    signal: F64
    signal_u: F64
    saturated: NDArray[np.bool_]
    by_place: F64 | None = None
    place_px: F64 | None = None
    by_ambient: F64 | None = None

    def __post_init__(self) -> None:
        name = self.region.name
        shapes = {array.shape for array in (self.times_s, self.signal, self.signal_u, self.saturated)}
        if len(shapes) > 1 or self.times_s.ndim != 1:
            raise Refused(
                f"the arrays of the curve {name} differ in shape", sorted(shapes), "give one number a frame in each"
            )
        for what, array in (("time", self.times_s), ("signal", self.signal), ("uncertainty", self.signal_u)):
            if not np.isfinite(array).all():
                bad = int(np.flatnonzero(~np.isfinite(array))[0])
                raise Refused(f"the {what} of the curve {name} is no number in frame", bad, "leave that frame out")
        if self.times_s.size > 1 and not (np.diff(self.times_s) > 0).all():
            bad = int(np.flatnonzero(np.diff(self.times_s) <= 0)[0]) + 1
            raise Refused(
                f"time stands still or runs back in the curve {name} at frame", bad, "sort the frames by time"
            )
        if self.signal_u.size and not (self.signal_u > 0).all():
            bad = int(np.flatnonzero(self.signal_u <= 0)[0])
            raise Refused(f"the curve {name} claims to be without noise in frame", bad, "give a positive uncertainty")
        shares = ("place", self.by_place), ("place", self.place_px), ("ambient light", self.by_ambient)
        for what, beside in shares:
            if beside is not None and beside.shape[-1:] != self.times_s.shape:
                raise Refused(
                    f"the {what}'s share in the curve {name} has another shape", beside.shape, "give a number a frame"
                )


@dataclass(eq=False)
class CurveGatherer:
    """Takes frames one by one and keeps five numbers for each of the regions, which stand still.

    Where unlit frames come often enough between lit ones, they tell the ambient light, and it is taken off; where they come with
    each step of the ring's level, what steps made of it.
    """

    calibration: Calibration
    regions: Sequence[Region]
    _standing: Mapping[str, MovingRegion] = field(init=False)
    _rows: dict[str, list[tuple[float, float, float, bool, float]]] = field(init=False)
    _ambient: AmbientTrack = field(init=False)
    _first_ns: int | None = None

    def __post_init__(self) -> None:
        sampler = RegionSampler.of(self.calibration)
        self._ambient = AmbientTrack(self.calibration.camera)
        self._standing = {region.name: MovingRegion.of(region, sampler) for region in self.regions}
        self._rows = {region.name: [] for region in self.regions}

    def add(self, frame: Frame) -> None:
        """Take one frame in."""
        if self._first_ns is None:
            self._first_ns = frame.sensor_time_ns
        if frame.half_lit:
            return
        lit = frame.lit and frame.light_level > 0
        time_s = (frame.sensor_time_ns - self._first_ns) / 1e9 - frame.exposure_us / 2e6
        output = self.calibration.output_at(frame.light_level)
        self._ambient.see(time_s, frame.light_level if lit else 0.0, output)
        for name, region in self._standing.items():
            found = _seen(region, frame if lit else as_rate(frame))
            if lit:
                self._rows[name].append((time_s, found.signal.value, found.signal.u, found.is_saturated, output))
            else:
                self._ambient.measured(name, time_s, found.signal)

    @property
    def takes_ambient_off(self) -> bool:
        """Whether there are unlit frames enough for all of it to be taken off."""
        return self._ambient.is_followed

    def curves(self) -> dict[str, RegionCurve]:
        """Curves of all regions so far, by name."""
        made: dict[str, RegionCurve] = {}
        for region in self.regions:
            rows = np.array(self._rows[region.name], np.float64).reshape(-1, 5)
            counting = self._ambient.taken_off(region.name, rows)
            rows = counting.rows
            made[region.name] = RegionCurve(
                *(region, rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3] > 0), by_ambient=counting.by_ambient
            )
        return made


def _seen(region: MovingRegion, frame: Frame) -> RegionSignal:
    found = region.signal(frame, Motion()).signal
    assert found is not None, "a region holds a good pixel of the picture it stands in"
    return found
