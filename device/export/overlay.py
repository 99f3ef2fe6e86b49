"""A recording played again through the live path, for video and stills: the same picture, reference and regions as then."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from device.live import LivePath, LivePicture
from device.marked_regions import reference_of, regions_of
from shared.ambient import is_followed
from shared.errors import Refused
from shared.frame import Frame
from shared.half_lit import half_lit
from shared.recording import Recording
from shared.settings import PictureSettings


@dataclass(frozen=True, eq=False)
class Shown:
    """One frame as it looked: ``time_s`` since the first frame, ``since_injection_s`` None before or without an injection.

    ``done`` is the share of the recording played so far, ``is_last`` says that no other follows.
    """

    frame: Frame
    picture: LivePicture
    time_s: float
    since_injection_s: float | None
    done: float
    is_last: bool


class Overlay:
    """Plays ``recording``; ``live`` holds the path as it stands after the frame shown last.

    Where no reference is known the picture is grey; ``notes`` say so, and what else could not be shown as then.
    """

    def __init__(self, recording: Recording, settings: PictureSettings) -> None:
        self._recording = recording
        self.live = LivePath(recording.calibration, settings)
        self.notes: list[str] = []
        try:
            reference = reference_of(recording)
            self.live.set_reference(reference)
            self.live.set_view("grey" if recording.injected_at_ns is not None else "relative")
            for region in regions_of(recording):
                if region.name != reference.name:
                    self.live.put_region(region)
        except Refused as refused:
            self.notes.append(f"grey, {refused.what}")
            self.live.set_view("grey")

    def play(self) -> Iterator[Shown]:
        """Every frame in order. Where an injection was marked, the picture is grey until then, and the baseline is taken there.

        Frames that were dark on purpose tell the ambient light, as they did then, and are not shown.
        """
        recording, table = self._recording, self._recording.frame_table
        injected_ns, begun = recording.injected_at_ns, False
        unlit, half = self._dark_on_purpose()
        last = max(np.flatnonzero(~unlit & ~half), default=-1)
        for number in (*np.flatnonzero(unlit)[:1], *range(recording.frames)):
            frame = recording.frame(int(number))
            if unlit[number] or half[number]:
                if unlit[number]:
                    self.live.take_unlit(frame)
                continue
            if injected_ns is not None and not begun and frame.sensor_time_ns >= injected_ns:
                self._begin()
                begun = True
            since_s = (frame.sensor_time_ns - injected_ns) / 1e9 if injected_ns is not None else None
            yield Shown(
                frame,
                self.live.process(frame),
                (frame.sensor_time_ns - int(table.sensor_time_ns[0])) / 1e9,
                since_s if since_s is not None and since_s >= 0 else None,
                (number + 1) / recording.frames,
                number == last,
            )

    def _dark_on_purpose(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which frames were unlit so that ambient light be measured, and which are half lit for its sake. All others are shown."""
        table = self._recording.frame_table
        lit = table.levels > 0
        if not is_followed(table.sensor_time_ns / 1e9, lit):
            return np.zeros_like(lit), np.zeros_like(lit)
        return ~lit, half_lit(table.levels, self._recording.camera.shutter == "rolling")

    def _begin(self) -> None:
        try:
            self.live.mark_baseline()
        except Refused as refused:
            self.notes.append(refused.what)
        if self.live.reference_state() is not None:
            self.live.set_view("relative")
