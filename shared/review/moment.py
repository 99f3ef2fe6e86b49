"""One moment of a recording: the picture that the live path would draw of that frame alone, and the values of its regions.

Regions lie where their tissue does, and ambient light is taken off, as in the curves of the newest analysis.
"""

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
from shared.motion.kept_track import KeptTrack
from shared.picture_noise import NO_NOISE, Noise, frame_noise
from shared.protocol.control import RegionState, View
from shared.protocol.review import ReviewRegion
from shared.recording import Recording
from shared.recording.afterwards import read_analysis
from shared.region import Region
from shared.relative import ZERO, relative_measured
from shared.review.ambient_beside import AmbientBeside
from shared.review.binned import binned_calibration, binned_frame
from shared.review.tissue_places import Place, TissuePlaces
from shared.settings import PictureSettings
from shared.signal import DefectSources, Measured, RegionPixels, RegionSignal, corrected_counts, region_signal

BASELINE_S = 1.0
"""The baseline is the mean of so much before the injection, as in the live picture."""
_MOST_BASELINE_FRAMES = 16
_NEAR_S = 0.5
"""A dark frame's neighbour with light stands in for it when it is no further away: frames are dark on purpose now and then."""
LEAST_SEEN_SHARE = 0.5
"""A region of which less than this is in the picture has no value, as in the curves."""


@dataclass(frozen=True)
class Moment:
    """One frame: its ``number``, ``time_s`` since the first, whether it was ``lit``, and the values of reference and regions.

    The regions lie where they do in this frame; ``place`` says whether that is known.
    """

    number: int
    time_s: float
    lit: bool
    place: Place
    reference: RegionState | None
    regions: tuple[RegionState, ...]


@dataclass(frozen=True, eq=False)
class _Baseline:
    """What was there before the dye, (height, width) float32 in signal units, and the noise of its pixels before smoothing."""

    plane: NDArray[np.float32] | None = None
    noise: Noise = NO_NOISE


@dataclass(frozen=True)
class _Seen:
    """A region in one frame: what was measured of it above its baseline; or the flag that says why there is nothing."""

    region: Region
    flag: str = ""
    signal: Measured = ZERO
    below: Measured = ZERO

    @property
    def above(self) -> Measured:
        """Signal less baseline."""
        return Measured(self.signal.value - self.below.value, math.hypot(self.signal.u, self.below.u))


class ReviewedRun:
    """A recording opened to be looked at. Belongs to one thread at a time; keeps a few planes, and three frames."""

    def __init__(self, recording: Recording, settings: PictureSettings) -> None:
        """A single frame is drawn by itself: nothing is steadied."""
        self.recording = recording
        self._settings = replace(settings, steadying=0.0)
        self._pictures: dict[bool, PlainPicture] = {}
        self._baselines: dict[bool, _Baseline] = {}
        self._region_baselines: dict[ReviewRegion, Measured] = {}
        self._newest: tuple[int, Frame] | None = None

    def number_at(self, at_s: float) -> int:
        """Of the frame nearest to ``at_s`` after the first, or of one with light near it. Raises Refused without any."""
        if not self.recording.frames:
            raise Refused("the recording holds no frames", self.recording.name, "choose another recording")
        times_s = self.times_s
        number = int(np.argmin(np.abs(times_s - at_s)))
        lit = self._lit_numbers
        if not self._is_whole[number] and lit.size:
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

    @property
    def takes_ambient_off(self) -> bool:
        """Whether unlit frames measured the ambient light well enough for all of it to be taken off."""
        return self._ambient.way == "whole"

    def last_lit_frame(self) -> Frame:
        """The last frame with light, the very last where there is none; raises Refused where there are no frames."""
        if not self.recording.frames:
            raise Refused("the recording holds no frames", self.recording.name, "choose another recording")
        lit = self._lit_numbers
        return self._frame(int(lit[-1]) if lit.size else self.recording.frames - 1)

    def regions_at(self, number: int, marked: Sequence[ReviewRegion]) -> tuple[Region, ...]:
        """The regions as they lie in the frame."""
        return tuple(self._places.region(one, number) for one in marked)

    def place(self, number: int) -> Place:
        """Whether it is known where the tissue lies in the frame."""
        return "still" if not self._is_lit[number] else self._places.place(number)

    def picture(self, number: int, reference: ReviewRegion | None, look: Look, *, reduced: bool) -> Planes:
        """The frame as ``look`` says, percent of ``reference`` where it can be told; at half size where ``reduced``."""
        frame = self._frame(number)
        against = (
            None if reference is None or self._reference_flag(number, reference) else self._seen(number, reference)
        )
        shown = replace(look, view="side by side" if look.view == "side by side" else "grey")
        if against is not None:
            before = self._baseline(reduced)
            shown = replace(
                look,
                reference=against.above.value,
                reference_u=against.above.u,
                baseline=before.plane,
                baseline_noise=before.noise,
            )
        if reduced not in self._pictures:
            self._pictures[reduced] = PlainPicture(self._calibration(reduced), self._settings)
        picture = self._pictures[reduced]
        picture.take_ambient_off(*self._ambient_counts(number, reduced))
        planes = picture.draw(binned_frame(frame, self.recording.calibration) if reduced else frame, shown)
        picture.restart()
        return planes

    def look(self, view: View, contours_percent: tuple[float, ...]) -> Look:
        """What to draw; raises Refused for contours that do not rise."""
        if list(contours_percent) != sorted(set(contours_percent)) or len(contours_percent) > 4:
            raise Refused(
                "contour percentages must rise, at most four", contours_percent, "put them in order, each once"
            )
        return Look(view, contours_percent)

    def moment(self, number: int, reference: ReviewRegion | None, regions: Sequence[ReviewRegion]) -> Moment:
        """Values of the frame, by the same arithmetic as the live picture's, each frame by itself."""
        flag = "no reference" if reference is None else self._reference_flag(number, reference)
        against = self._seen(number, reference) if reference is not None and not flag else None
        return Moment(
            number=number,
            time_s=round(float(self.times_s[number]), 6),
            lit=bool(self._is_lit[number]),
            place=self.place(number),
            reference=None if reference is None else self._state_of_reference(number, reference, flag, against),
            regions=tuple(self._state(number, region, flag, against) for region in regions),
        )

    # ---- pieces -----------------------------------------------------------------------------------------------------

    @cached_property
    def _is_lit(self) -> NDArray[np.bool_]:
        table = self.recording.frame_table
        return table.lit & ~(table.light_level <= 0)

    @cached_property
    def _is_whole(self) -> NDArray[np.bool_]:
        """Frames with light, and of which it is known what light that was."""
        return self._is_lit & ~self._ambient.left_out

    @cached_property
    def _lit_numbers(self) -> NDArray[np.intp]:
        return np.flatnonzero(self._is_whole)

    @cached_property
    def _ambient(self) -> AmbientBeside:
        return AmbientBeside(self.recording, self.times_s, self._is_lit)

    @cached_property
    def _places(self) -> TissuePlaces:
        """By the newest analysis; raises Refused where that is damaged."""
        kept = (read_analysis(self.recording.path) or {}).get("track")
        track = None if kept is None else KeptTrack.from_values(kept)
        if track is not None and len(track.motions) != self.recording.frames:
            raise Refused("the analysis is of other frames", self.recording.name, "analyse the recording again")
        return TissuePlaces(track, self.times_s.tolist(), self.recording.camera.shape)

    def _frame(self, number: int) -> Frame:
        if self._newest is None or self._newest[0] != number:
            frame = self.recording.frame(number)
            self._newest = number, frame if self._is_lit[number] else frame.with_light(0.0, lit=False)
        return self._newest[1]

    def _dye_is_in(self, number: int) -> bool:
        """Before the injection there is nothing to be percent of; where none is marked, every frame may hold dye."""
        return self.injected_at_s is None or self.times_s[number] >= self.injected_at_s

    def _calibration(self, reduced: bool) -> Calibration:
        return self._reduced_calibration if reduced else self.recording.calibration

    @cached_property
    def _reduced_calibration(self) -> Calibration:
        return binned_calibration(self.recording.calibration)

    def _ambient_counts(self, number: int, reduced: bool) -> tuple[NDArray[np.float64] | None, float]:
        """What is taken off a lit frame, and its variance; nothing where nothing is."""
        if not self._ambient.is_off(number):
            return None, 0.0
        return self._ambient.counts(number, self._calibration(reduced), reduced=reduced)

    @cached_property
    def _before(self) -> tuple[int, ...]:
        """Frames with light in the second before the injection, spread over it where there are many."""
        if self.injected_at_s is None:
            return ()
        since = self.times_s - self.injected_at_s
        found = np.flatnonzero((since < 0) & (since >= -BASELINE_S) & self._is_whole)
        chosen = found[:: max(1, math.ceil(found.size / _MOST_BASELINE_FRAMES))]
        return tuple(int(number) for number in chosen)

    def _baseline(self, reduced: bool) -> "_Baseline":
        """Mean signal of the second before the dye, smoothed as the picture is; none where nothing was recorded then."""
        if reduced not in self._baselines:
            self._baselines[reduced] = self._mean_before(reduced) if self._before else _Baseline()
        return self._baselines[reduced]

    def _mean_before(self, reduced: bool) -> "_Baseline":
        """The noise of ambient light counts as if all frames had it in common: they lie between the same few unlit ones."""
        calibration = self._calibration(reduced)
        sources = DefectSources.around(calibration.defects)
        total, noise, in_common = np.zeros(calibration.camera.shape, np.float64), NO_NOISE, NO_NOISE
        for number in self._before:
            frame = self._frame(number)
            drawn = binned_frame(frame, self.recording.calibration) if reduced else frame
            ambient, variance = self._ambient_counts(number, reduced)
            factor = calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
            counts = corrected_counts(drawn.pixels, calibration, sources)
            if ambient is not None:
                counts -= ambient / calibration.flat
                sources.replace(counts)
            total += counts * factor
            mean = 0.0 if ambient is None else float(ambient.mean())
            noise += frame_noise(calibration, frame.gain, factor, max(mean, 0.0))
            in_common += Noise(still=variance * factor**2)
        frames = len(self._before)
        plane = smoothed(total / frames) if self._settings.smoothing else total / frames
        return _Baseline(plane.astype(np.float32), noise * (1.0 / frames**2) + in_common * (1.0 / frames))

    def _region_baseline(self, marked: ReviewRegion) -> Measured:
        if marked not in self._region_baselines:
            seen = [self._signal(number, marked) for number in self._before if self.place(number) != "lost"]
            found = [one.signal for one in seen if one is not None]
            mean = sum(one.value for one in found) / max(len(found), 1)
            u = math.sqrt(sum(one.u**2 for one in found)) / max(len(found), 1)
            self._region_baselines[marked] = Measured(mean, u)
            while len(self._region_baselines) > 64:
                self._region_baselines.pop(next(iter(self._region_baselines)))
        return self._region_baselines[marked]

    def _signal(self, number: int, marked: ReviewRegion) -> RegionSignal | None:
        """Of a region at its tissue's place in a lit frame, ambient light taken off; None where it has left the picture."""
        calibration, frame = self.recording.calibration, self._frame(number)
        region = self._places.region(marked, number)
        if _seen_share(region, calibration.camera.shape) < LEAST_SEEN_SHARE:
            return None
        pixels = RegionPixels.gathered(region.indices(calibration.camera.shape), calibration)
        found = region_signal(frame, pixels, calibration)
        if not self._ambient.is_off(number):
            return found
        ambient = self._ambient.signal(number, pixels)
        left = Measured(found.signal.value - ambient.value, math.hypot(found.signal.u, ambient.u))
        return replace(found, signal=left)

    def _seen(self, number: int, marked: ReviewRegion) -> _Seen:
        region = self._places.region(marked, number)
        found = self._signal(number, marked)
        if found is None:
            return _Seen(region, "out of the picture")
        if found.is_saturated:
            return _Seen(region, "saturated")
        seen = _Seen(region, "", found.signal, self._region_baseline(marked))
        dark = seen.above.value < self._settings.least_signal_to_noise * seen.above.u
        return replace(seen, flag="too dark") if dark else seen

    def _reference_flag(self, number: int, reference: ReviewRegion) -> str:
        if not self._is_lit[number]:
            return "unlit"
        if not self._dye_is_in(number):
            return "before the dye"
        if self.place(number) == "lost":
            return "place not known"
        seen = self._seen(number, reference)
        if seen.flag:
            return f"reference {seen.flag}"
        return "" if seen.above.value > 0 else "reference too dark"

    def _state_of_reference(self, number: int, marked: ReviewRegion, flag: str, against: _Seen | None) -> RegionState:
        region = self._places.region(marked, number)
        if against is None:
            return RegionState(str(region), region.name, None, None, flag)
        return RegionState(str(region), region.name, 100.0, 100.0 * against.above.u / against.above.value)

    def _state(self, number: int, marked: ReviewRegion, flag: str, against: _Seen | None) -> RegionState:
        region = self._places.region(marked, number)
        if against is None:
            return RegionState(str(region), region.name, None, None, flag)
        seen = self._seen(number, marked)
        if seen.flag:
            return RegionState(str(region), region.name, None, None, seen.flag)
        value = relative_measured(seen.signal, against.signal, seen.below, against.below)
        if value is None:
            return RegionState(str(region), region.name, None, None, "reference too dark")
        return RegionState(str(region), region.name, value.value, value.u)


def _seen_share(region: Region, picture_shape: tuple[int, int]) -> float:
    """Share of the box round a region that lies in the picture."""
    height, width = picture_shape
    left, top, right, bottom = region.bounds
    across, down = min(right, width) - max(left, 0), min(bottom, height) - max(top, 0)
    return max(across, 0) * max(down, 0) / ((right - left) * (bottom - top))
