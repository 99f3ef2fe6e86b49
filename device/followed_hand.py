"""Where the hand had moved the picture to in each frame of a recording, and where regions marked at a moment belong."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from device.frames_ahead import Beside, frames_ahead, nothing_beside
from shared.frame import Frame
from shared.inflow.curves import RegionCurve
from shared.inflow.maps_place import Followed
from shared.inflow.parameters import Estimate, InflowParameters
from shared.motion.carried import carried
from shared.motion.curves import CarriedLight, MovingCurves
from shared.motion.follower import reducers_of
from shared.motion.kept_track import KeptTrack
from shared.motion.pose import MARKING_S, Motion
from shared.motion.reduced import LEAST_SIDE
from shared.motion.track import Track
from shared.nearing import Nearing
from shared.recording import Recording
from shared.region import Region
from shared.smear import MOST_SHARE, smear_px

NO_LOCK = "no-motion-lock"
"""Flag of every region where more frames than ``TOLERATED_SHARE`` could not be placed."""
OUT_OF_VIEW = "out-of-view"
"""Flag of a region that was out of the picture in some frames."""
TOLERATED_SHARE = 0.01
MOST_LACKING_SHARE = 0.2
"""A curve that lacks more of its frames than this is not read."""


@dataclass(frozen=True)
class HandMotion:
    """What ``tapetum analyse --json`` says of the hand. The share is of the lit frames; shifts are of the picture's centre, from
    where it was on average at the beginning; millimetres are None where the scale is not known.
    """

    locked_share: float
    largest_shift_mm: float | None
    largest_shift_px: float
    largest_rotation_deg: float


class FollowedHand:
    """Goes through a recording's frames once, in order, as far as it is asked to, and remembers a motion for each."""

    def __init__(
        self, recording: Recording, seen_at_s: float = 0.0, seen_at: Mapping[str, float] | None = None
    ) -> None:
        """``seen_at_s`` is the moment, since the first frame, of the view in which regions lie that were not marked; ``seen_at``
        that of single ones, by their text.
        """
        self.recording = recording
        self.unseen: dict[str, int] = {}
        """Frames a region's curve lacks because it was out of the picture."""
        self.ambient_note = ""
        """What must be said of the room's light in the curves."""
        self.carried: CarriedLight | None = None
        """Ambient light that it carried, and that was taken off the curves."""
        self._seen_at_s, self._seen_at = seen_at_s, dict(seen_at or {})
        self._reducers = reducers_of(recording.calibration) if min(recording.camera.shape) >= LEAST_SIDE else ()
        self._track = Track(recording.calibration, self._reducers)
        self.nearing = Nearing(recording.calibration, self._reducers[0] if self._reducers else None)
        self._marks = _marks(recording)
        self._marked = 0

    def look_ahead(self, frame: Frame) -> None:
        """Do what can be done with a frame before those before it are known; may be another thread's."""
        if self._reducers and frame.lit and frame.light_level > 0:
            self._reducers[0].sum_ahead(frame.pixels)

    def motion(self, number: int, frame: Frame | None = None) -> Motion | None:
        """Motion from the reference view to frame ``number`` (given if at hand); None where the tissue's place is not known.

        While nothing was ever found to follow, regions stay where they were marked.
        """
        self._go_to(number, frame)
        return self._track.motion(number)

    def place_at(self, seen_at_s: float) -> Motion:
        """Motion from the reference view to the view ``seen_at_s`` after the first frame, tremor smoothed out."""
        table = self.recording.frame_table
        times_s = (table.sensor_time_ns - table.sensor_time_ns[0]) / 1e9
        last = int(np.searchsorted(times_s, seen_at_s + MARKING_S))
        self._go_to(max(min(last, self.recording.frames) - 1, 0))
        return self._track.place_at(seen_at_s)

    def place(self, region: Region) -> Motion:
        """Motion from the reference view to the view in which the region was marked."""
        marked_s = [at_s for at_s, marked in self._marks if marked == region]
        otherwise = marked_s[-1] if marked_s else self._seen_at_s
        return self.place_at(self._seen_at.get(str(region), otherwise))

    def in_reference_view(self, region: Region) -> Region:
        """A region as it lies in the reference view, whose bins maps keep."""
        return carried(region, self.place(region).back(), self.recording.camera.shape)

    def as_seen_at(self, region: Region, seen_at_s: float) -> Region:
        """A region as it lies in the view at that moment."""
        return carried(region, self.place(region).back().then(self.place_at(seen_at_s)), self.recording.camera.shape)

    def followed(self) -> Followed:
        """How well the frames so far were followed, for their maps."""
        notes = (*self._track.warnings(), *self.nearing.warnings())
        return Followed(self._track.place_u_px, notes, self._track.shared_u_px)

    def kept(self) -> KeptTrack | None:
        """The motions of all frames, to be kept; None where nothing was ever found to follow."""
        self._go_to(self.recording.frames - 1)
        if self._track.found_at is None:
            return None
        return KeptTrack(tuple(self._track.motion(number) for number in range(self.recording.frames)))

    def summary(self) -> HandMotion:
        """Figures over the whole recording."""
        self._go_to(self.recording.frames - 1)
        lit = [motion for motion in self._track.motions if motion is not None]
        from_start = self.place_at(0.0).back()
        placed = [from_start.then(motion) for motion in lit if motion.locked]
        shift_px = max((motion.shift_px for motion in placed), default=0.0)
        turn_deg = max((abs(motion.rotation_deg) for motion in placed), default=0.0)
        scale = self.recording.camera.mm_per_px
        shift_mm = None if scale is None or not placed else round(shift_px * scale, 3)
        return HandMotion(round(len(placed) / max(len(lit), 1), 4), shift_mm, round(shift_px, 2), round(turn_deg, 2))

    def judged(self, figures: InflowParameters, name: str, reference: str) -> InflowParameters:
        """A region's figures with what must be said of the hand beside them.

        There are none where the region's curve, or the reference's, lacks more than ``MOST_LACKING_SHARE`` of the lit frames: the
        highest point of what is left of a curve is not its peak.
        """
        flags = (*figures.flags, *self._flags(name))
        lacking = self.lost(name, reference)
        if lacking is None:
            return replace(figures, flags=flags)
        known = {field.name: getattr(figures, field.name) for field in fields(figures)}
        nothing = {key: Estimate() for key, value in known.items() if isinstance(value, Estimate)}
        why = f"no figures: {lacking} was lost from sight in {100 * self._lacking_share(lacking):.0f} % of the frames"
        return replace(figures, **nothing, first_pass=None, signal_to_noise=None, flags=(*flags, why))

    def lost(self, name: str, reference: str) -> str | None:
        """Which of the two curves lacks more than ``MOST_LACKING_SHARE`` of the lit frames; None where neither does."""
        return next((each for each in (name, reference) if self._lacking_share(each) > MOST_LACKING_SHARE), None)

    def smear_warnings(self, regions: Iterable[Region]) -> tuple[str, ...]:
        """Of regions across whose edges the hand's speed carries light."""
        table, motions = self.recording.frame_table, self._track.motions
        known = [number for number, motion in enumerate(motions) if motion is not None and motion.locked]
        places = np.array([(motion.dx_px, motion.dy_px) for number in known if (motion := motions[number])])
        smears = smear_px(places, table.sensor_time_ns[known] / 1e9, table.exposure_us[known] / 1e6)
        found = []
        for region in regions:
            left, top, right, bottom = region.bounds
            side = min(right - left, bottom - top)
            share = float((smears > MOST_SHARE * side).mean()) if smears.size else 0.0
            if share > TOLERATED_SHARE:
                found.append(
                    f"the hand moved fast: {region.name} is smeared by more than a tenth of its width in {100 * share:.0f} % of "
                    "the frames, and light beside it is counted as its own; a larger region or a shorter exposure helps"
                )
        return tuple(found)

    def _flags(self, name: str) -> tuple[str, ...]:
        lost = len(self._track.lost) > TOLERATED_SHARE * self._track.lit
        return (*((NO_LOCK,) if lost else ()), *((OUT_OF_VIEW,) if self.unseen.get(name) else ()))

    def _lacking_share(self, name: str) -> float:
        """Share of the lit frames that a region's curve is without."""
        lit = [number for number, motion in enumerate(self._track.motions) if motion is not None]
        unplaced = sum(self.motion(number) is None for number in lit)
        return (unplaced + self.unseen.get(name, 0)) / max(len(lit), 1)

    def warnings(self) -> tuple[str, ...]:
        """What could not be followed, and when; what left the picture."""
        unseen = tuple(
            f"{name} was out of the picture in {frames} frames, which its curve lacks"
            for name, frames in self.unseen.items()
            if frames
        )
        ambient = (self.ambient_note,) if self.ambient_note else ()
        return (*self._track.warnings(), *self.nearing.warnings(), *unseen, *ambient)

    def _go_to(self, number: int, frame: Frame | None = None) -> None:
        track, table = self._track, self.recording.frame_table
        while (at := len(track.motions)) <= number:
            since_s = (int(table.sensor_time_ns[at]) - int(table.sensor_time_ns[0])) / 1e9
            for at_s, region in self._marks[self._marked :]:
                if at_s > since_s:
                    break
                track.mark(region, at_s)
                self._marked += 1
            taken = frame if frame is not None and at == number else self.recording.frame(at)
            place = track.take(taken)
            if place is not None and track.found_at is not None and self.nearing.is_due(since_s):
                self.nearing.take(taken.pixels, place, since_s)


def _marks(recording: Recording) -> list[tuple[float, Region]]:
    """Regions and references as they were marked, seconds since the first frame; those from before count as marked with it."""
    if not recording.frames:
        return []
    first_ns, found = int(recording.frame_table.sensor_time_ns[0]), []
    for event in recording.events:
        text = event.fields.get("region")
        if event.kind in ("region", "reference") and isinstance(text, str) and text:
            found.append((max((event.time_ns - first_ns) / 1e9, 0.0), Region.parse(text)))
    return sorted(found, key=lambda mark: mark[0])


def followed_curves(
    hand: FollowedHand,
    regions: Sequence[Region],
    on_progress: Callable[[float], None],
    places: Mapping[Region, Motion] | None = None,
    beside: Beside = nothing_beside,
) -> dict[str, RegionCurve]:
    """Curves of regions that follow the tissue, by name. ``places`` are motions from the reference view to the view in which each
    region lies; without it, to the one in which it was marked.
    """
    recording = hand.recording
    places = {region: hand.place(region) for region in regions} if places is None else places
    curves = MovingCurves(recording.calibration, places)
    with frames_ahead(recording, hand.look_ahead) as frames:
        for number, frame in enumerate(frames):
            motion = hand.motion(number, frame)
            curves.add(frame, motion)
            beside(number, frame, motion)
            on_progress((number + 1) / recording.frames)
    made = curves.curves()
    hand.unseen = {region.name: curves.unseen(region.name) for region in regions}
    hand.ambient_note, hand.carried = curves.ambient_note, curves.carried
    return {name: hand.nearing.taken_out(curve) for name, curve in made.items()}
