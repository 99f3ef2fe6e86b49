"""Inflow maps made afterwards, from the frames of a recording, with the hand's motion followed."""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from typing import Self

from device.analysis import takes_ambient_off
from device.followed_hand import FollowedHand
from device.frames_ahead import frames_ahead, nothing_ahead
from device.maps_reader import read_on_cores
from device.marked_regions import reference_of
from shared.errors import Refused
from shared.frame import Frame
from shared.inflow.map_values import InflowMaps
from shared.inflow.maps_place import Followed
from shared.inflow.maps_slots import MapGatherer
from shared.motion.pose import Motion
from shared.recording import Recording
from shared.region import Region

_TOGETHER = 8
"""Frames handed over in one go. As many more may wait while these are gathered; more would only take memory."""


class RecordedMaps:
    """Gathers the maps of a recording while its frames go by, in a thread of its own; use it in a ``with``.

    Of three threads none waits for the interpreter's lock for long: what an analysis takes is processor time, and memory's.
    """

    def __init__(self, recording: Recording, follow_motion: bool) -> None:
        self._recording, self._follows = recording, follow_motion
        self._pool = ThreadPoolExecutor(1, "maps of a recording")
        self._seen: list[tuple[Frame, Motion | None]] = []
        self._gathering: Future[None] | None = None
        self._gatherer = MapGatherer(recording.calibration, ambient_off=takes_ambient_off(recording))
        # of the first frame, even where that is half lit and not gathered
        self._gatherer.first_ns = int(recording.frame_table.sensor_time_ns[0])

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._pool.shutdown(cancel_futures=True)

    def take(self, number: int, frame: Frame, motion: Motion | None) -> None:
        """Take frame ``number``; where the hand is followed and its ``motion`` is not known, it is left out."""
        lit = frame.lit and frame.light_level > 0
        if not frame.half_lit and not (lit and self._follows and motion is None):
            self._seen.append((frame, motion if lit else None))
        if len(self._seen) == _TOGETHER:
            self._hand_over()

    def _hand_over(self) -> None:
        if self._gathering is not None:
            self._gathering.result()
        self._gathering = self._pool.submit(self._gatherer.add_together, self._seen)
        self._seen = []

    def made(self, reference: Region | None, hand: FollowedHand | None) -> InflowMaps:
        """The maps. Raises Refused for too few frames or a bad reference."""
        self._hand_over()
        assert self._gathering is not None
        self._gathering.result()
        followed = Followed(None) if hand is None else hand.followed()
        followed = replace(
            followed,
            notes=(*followed.notes, *self._gatherer.notes),
            ambient_off=takes_ambient_off(self._recording),
        )
        if hand is not None:
            reference = None if reference is None else hand.in_reference_view(reference)
        marked_ns, first_ns = self._recording.injected_at_ns, int(self._recording.frame_table.sensor_time_ns[0])
        since_s = None if marked_ns is None else (marked_ns - first_ns) / 1e9
        return read_on_cores(self._gatherer, reference, since_s, followed)


def maps_of(
    recording: Recording,
    reference: str | None = None,
    follow_motion: bool = True,
    on_progress: Callable[[float], None] = lambda _: None,
) -> InflowMaps:
    """The maps of a recording, by the same code as on the imager. Raises Refused for too few frames or a bad reference."""
    try:
        region = reference_of(recording, reference)
    except Refused:
        if reference is not None:
            raise
        region = None
    hand = FollowedHand(recording) if follow_motion else None
    look_ahead = hand.look_ahead if hand is not None else nothing_ahead
    with RecordedMaps(recording, follow_motion) as maps, frames_ahead(recording, look_ahead) as frames:
        for number, frame in enumerate(frames):
            maps.take(number, frame, hand.motion(number, frame) if hand is not None else None)
            on_progress((number + 1) / recording.frames)
        return maps.made(region, hand)
