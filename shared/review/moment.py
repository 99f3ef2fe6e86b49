"""One moment of a recording: the picture that the live path would draw of that frame alone, and the values of its regions."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import Frame
from shared.live_picture import Look, PlainPicture, Planes, smoothed
from shared.picture_noise import NO_NOISE, Noise, frame_noise
from shared.protocol.control import RegionState, View
from shared.recording import Recording
from shared.region import Region
from shared.relative import relative_measured
from shared.review.binned import binned_calibration, binned_frame
from shared.settings import PictureSettings
from shared.signal import DefectSources, Measured, RegionPixels, RegionSignal, region_signal, signal

BASELINE_S = 1.0
"""The baseline is the mean of so much before the injection, as in the live picture."""
_MOST_BASELINE_FRAMES = 16
_NEAR_S = 0.5
"""A dark frame's neighbour with light stands in for it when it is no further away: frames are dark on purpose now and then."""


@dataclass(frozen=True)
class Moment:
    """One frame: its ``number``, ``time_s`` since the first, whether it was ``lit``, and the values of reference and regions."""

    number: int
    time_s: float
    lit: bool
    reference: RegionState | None
    regions: tuple[RegionState, ...]


@dataclass(frozen=True, eq=False)
class _Baseline:
    """What was there before the dye, (height, width) float32 in signal units, and the noise of its pixels before smoothing."""

    plane: NDArray[np.float32] | None = None
    noise: Noise = NO_NOISE


class ReviewedRun:
    """A recording opened to be looked at. Belongs to one thread at a time; keeps a few planes, and no frames."""

    def __init__(self, recording: Recording, settings: PictureSettings) -> None:
        """A single frame is drawn by itself: nothing is steadied."""
        self.recording = recording
        self._settings = replace(settings, steadying=0.0)
        self._pictures: dict[bool, PlainPicture] = {}
        self._baselines: dict[bool, _Baseline] = {}
        self._region_baselines: dict[str, Measured] = {}

    def number_at(self, at_s: float) -> int:
        """Of the frame nearest to ``at_s`` after the first, or of one with light near it. Raises Refused without any."""
        if not self.recording.frames:
            raise Refused("the recording holds no frames", self.recording.name, "choose another recording")
        times_s = self.times_s
        number = int(np.argmin(np.abs(times_s - at_s)))
        lit = self._lit_numbers
        if not self._is_lit[number] and lit.size:
            near = int(lit[np.argmin(np.abs(times_s[lit] - times_s[number]))])
            if abs(times_s[near] - times_s[number]) <= _NEAR_S:
                return near
        return number

    @cached_property
    def times_s(self) -> NDArray[np.float64]:
        """Of each frame, since the first."""
        stored = self.recording.frame_table.sensor_time_ns
        return np.asarray((stored - stored[0]) / 1e9, np.float64)

    @cached_property
    def injected_at_s(self) -> float | None:
        """When the dye went in, since the first frame; None where no injection is marked."""
        marked_ns = self.recording.injected_at_ns
        if marked_ns is None or not self.recording.frames:
            return None
        return (marked_ns - int(self.recording.frame_table.sensor_time_ns[0])) / 1e9

    @property
    def has_baseline(self) -> bool:
        """Whether frames with light were recorded in the second before the injection, so that what was there can be taken off."""
        return bool(self._before)

    def last_lit_frame(self) -> Frame:
        """The last frame with light, the very last where there is none; raises Refused where there are no frames."""
        if not self.recording.frames:
            raise Refused("the recording holds no frames", self.recording.name, "choose another recording")
        lit = self._lit_numbers
        return self._frame(int(lit[-1]) if lit.size else self.recording.frames - 1)

    def picture(self, number: int, reference: Region | None, look: Look, *, reduced: bool) -> Planes:
        """The frame as ``look`` says, percent of ``reference`` where it can be told; at half size where ``reduced``."""
        frame = self._frame(number)
        above = self._above(frame, reference) if self._dye_is_in(number) else None
        shown = (
            look if above is not None else replace(look, view="side by side" if look.view == "side by side" else "grey")
        )
        if reduced not in self._pictures:
            self._pictures[reduced] = PlainPicture(self._calibration(reduced), self._settings)
        picture = self._pictures[reduced]
        drawn = binned_frame(frame, self.recording.calibration) if reduced else frame
        if above is not None:
            before = self._baseline(reduced)
            shown = replace(
                shown, reference=above.value, reference_u=above.u, baseline=before.plane, baseline_noise=before.noise
            )
        planes = picture.draw(drawn, shown)
        picture.restart()
        return planes

    def look(self, view: View, contours_percent: tuple[float, ...]) -> Look:
        """What to draw; raises Refused for contours that do not rise."""
        if list(contours_percent) != sorted(set(contours_percent)) or len(contours_percent) > 4:
            raise Refused(
                "contour percentages must rise, at most four", contours_percent, "put them in order, each once"
            )
        return Look(view, contours_percent)

    def moment(self, number: int, reference: Region | None, regions: Sequence[Region]) -> Moment:
        """Values of the frame, by the same arithmetic as the live picture's, each frame by itself."""
        frame = self._frame(number)
        flag = self._reference_flag(frame, reference, number)
        against = None if reference is None else self._state_of_reference(frame, reference, flag)
        return Moment(
            number=number,
            time_s=round(float(self.times_s[number]), 6),
            lit=bool(self._is_lit[number]),
            reference=against,
            regions=tuple(self._state(frame, region, reference, flag) for region in regions),
        )

    # ---- pieces -----------------------------------------------------------------------------------------------------

    @cached_property
    def _is_lit(self) -> NDArray[np.bool_]:
        table = self.recording.frame_table
        return table.lit & ~(table.light_level <= 0)

    @cached_property
    def _lit_numbers(self) -> NDArray[np.intp]:
        return np.flatnonzero(self._is_lit)

    def _frame(self, number: int) -> Frame:
        frame = self.recording.frame(number)
        return frame if self._is_lit[number] else frame.with_light(0.0, lit=False)

    def _dye_is_in(self, number: int) -> bool:
        """Before the injection there is nothing to be percent of; where none is marked, every frame may hold dye."""
        return self.injected_at_s is None or self.times_s[number] >= self.injected_at_s

    def _calibration(self, reduced: bool) -> Calibration:
        return self._reduced_calibration if reduced else self.recording.calibration

    @cached_property
    def _reduced_calibration(self) -> Calibration:
        return binned_calibration(self.recording.calibration)

    @cached_property
    def _before(self) -> tuple[int, ...]:
        """Frames with light in the second before the injection, spread over it where there are many."""
        if self.injected_at_s is None:
            return ()
        since = self.times_s - self.injected_at_s
        found = np.flatnonzero((since < 0) & (since >= -BASELINE_S) & self._is_lit)
        chosen = found[:: max(1, math.ceil(found.size / _MOST_BASELINE_FRAMES))]
        return tuple(int(number) for number in chosen)

    def _baseline(self, reduced: bool) -> "_Baseline":
        """Mean signal of the second before the dye, smoothed as the picture is; none where nothing was recorded then."""
        if reduced not in self._baselines:
            calibration = self._calibration(reduced)
            sources = DefectSources.around(calibration.defects)
            total, noise = np.zeros(calibration.camera.shape, np.float64), NO_NOISE
            for number in self._before:
                frame = self._frame(number)
                drawn = binned_frame(frame, self.recording.calibration) if reduced else frame
                total += signal(drawn, calibration, sources)
                factor = calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
                noise += frame_noise(calibration, frame.gain, factor)
            frames = max(len(self._before), 1)
            mean = total / frames
            plane = smoothed(mean) if self._settings.smoothing else mean
            seen = _Baseline(plane.astype(np.float32), noise * (1.0 / frames**2))
            self._baselines[reduced] = seen if self._before else _Baseline()
        return self._baselines[reduced]

    def _region_baseline(self, region: Region) -> Measured:
        key = str(region)
        if key not in self._region_baselines:
            found = [self._signal(self._frame(number), region).signal for number in self._before]
            mean = sum(one.value for one in found) / max(len(found), 1)
            u = math.sqrt(sum(one.u**2 for one in found)) / max(len(found), 1)
            self._region_baselines[key] = Measured(mean, u)
            while len(self._region_baselines) > 64:
                self._region_baselines.pop(next(iter(self._region_baselines)))
        return self._region_baselines[key]

    def _signal(self, frame: Frame, region: Region) -> RegionSignal:
        calibration = self.recording.calibration
        pixels = RegionPixels.gathered(region.indices(calibration.camera.shape), calibration)
        return region_signal(frame, pixels, calibration)

    def _above(self, frame: Frame, reference: Region | None) -> Measured | None:
        """The reference's signal above its baseline; None where it cannot serve."""
        if reference is None or not frame.lit:
            return None
        seen, below = self._signal(frame, reference), self._region_baseline(reference)
        above = Measured(seen.signal.value - below.value, math.hypot(seen.signal.u, below.u))
        least = self._settings.least_signal_to_noise
        return None if seen.is_saturated or above.value <= 0 or above.value < least * above.u else above

    def _reference_flag(self, frame: Frame, reference: Region | None, number: int) -> str:
        if not frame.lit:
            return "unlit"
        if reference is None:
            return "no reference"
        if not self._dye_is_in(number):
            return "before the dye"
        if self._signal(frame, reference).is_saturated:
            return "reference saturated"
        return "" if self._above(frame, reference) is not None else "reference too dark"

    def _state_of_reference(self, frame: Frame, reference: Region, flag: str) -> RegionState:
        if flag:
            return RegionState(str(reference), reference.name, None, None, flag)
        above = self._above(frame, reference)
        assert above is not None
        return RegionState(str(reference), reference.name, 100.0, 100.0 * above.u / above.value)

    def _state(self, frame: Frame, region: Region, reference: Region | None, flag: str) -> RegionState:
        if flag or reference is None:
            return RegionState(str(region), region.name, None, None, flag or "no reference")
        seen, below = self._signal(frame, region), self._region_baseline(region)
        if seen.is_saturated:
            return RegionState(str(region), region.name, None, None, "saturated")
        u = math.hypot(seen.signal.u, below.u)
        if seen.signal.value - below.value < self._settings.least_signal_to_noise * u:
            return RegionState(str(region), region.name, None, None, "too dark")
        against = self._signal(frame, reference).signal
        value = relative_measured(seen.signal, against, below, self._region_baseline(reference))
        if value is None:
            return RegionState(str(region), region.name, None, None, "reference too dark")
        return RegionState(str(region), region.name, value.value, value.u)
