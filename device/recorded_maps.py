"""Inflow maps made afterwards, from the frames of a recording, with the hand's motion followed."""

import logging
from collections.abc import Callable

from device.followed_hand import FollowedHand
from device.maps_reader import read_on_cores
from device.marked_regions import reference_of
from shared.errors import Refused
from shared.inflow.map_values import InflowMaps
from shared.inflow.maps_slots import MapGatherer
from shared.recording import Recording

_log = logging.getLogger(__name__)


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
    gatherer = MapGatherer(recording.calibration)
    hand = FollowedHand(recording) if follow_motion else None
    left_out = 0
    for number in range(recording.frames):
        frame = recording.frame(number)
        motion = hand.motion(number, frame) if hand is not None and frame.lit and frame.light_level > 0 else None
        if hand is not None and motion is None and frame.lit:
            left_out += 1
        else:
            gatherer.add(frame, motion)
        on_progress((number + 1) / recording.frames)
    marked_ns = recording.injected_at_ns
    since_s = None if marked_ns is None else (marked_ns - int(recording.frame_table.sensor_time_ns[0])) / 1e9
    if left_out:
        _log.info("%s: %d frames whose place is not known are left out of the maps", recording.name, left_out)
    return read_on_cores(gatherer, region, since_s, hand is not None)
