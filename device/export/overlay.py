"""A recording played again through the live path, for video and stills: the same picture, reference and regions as then."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from device.live import LivePath, LivePicture
from device.marked_regions import reference_of, regions_of
from shared.ambient import taken_off
from shared.errors import Refused
from shared.frame import Frame
from shared.recording import Recording
from shared.settings import PictureSettings

LONGEST_UNSEEN_S = 0.1
"""Darkness longer than this is no unlit frame on purpose: the light was off, and is seen to be."""


@dataclass(frozen=True, eq=False)
class Shown:
    """One frame as it looked: ``time_s`` since the first frame, ``since_injection_s`` None before or without an injection.

    ``is_lit`` is false while the light was off, not for one frame on purpose but for longer, which is shown as it was.
    ``done`` is the share of the recording played so far, ``is_last`` says that no other follows.
    """

    frame: Frame
    picture: LivePicture
    time_s: float
    since_injection_s: float | None
    is_lit: bool
    done: float
    is_last: bool


class Overlay:
    """Plays ``recording``; ``live`` holds the path as it stands after the frame shown last.

    Where no reference is known the picture is grey; ``notes`` say so, and what else could not be shown as then.
    """

    def __init__(self, recording: Recording, settings: PictureSettings) -> None:
        self._recording = recording
        whole, table = ~recording.half_lit, recording.frame_table
        self._off = taken_off(table.sensor_time_ns[whole] / 1e9, table.levels[whole])
        self.live = LivePath(recording.calibration, settings, self._off)
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

        Frames that were dark on purpose tell the ambient light, as they did then, and are not shown; while the light was off for
        longer, they are shown as they were. Where the light was dimmed during a frame, the picture stays for its length.
        """
        recording, table = self._recording, self._recording.frame_table
        levels = table.levels
        injected_ns, begun, picture = recording.injected_at_ns, False, None
        unlit, unseen = self._dark_on_purpose()
        last = max(np.flatnonzero(~unseen), default=-1)
        for frame in (recording.frame(int(number)) for number in np.flatnonzero(unlit)[:1]):
            self.live.take_unlit(frame)
        for number in range(recording.frames):
            frame = recording.frame(number)
            if unlit[number]:
                self.live.take_unlit(frame)
            if unseen[number]:
                continue
            if injected_ns is not None and not begun and frame.sensor_time_ns >= injected_ns:
                self._begin()
                begun = True
            since_s = (frame.sensor_time_ns - injected_ns) / 1e9 if injected_ns is not None else None
            if picture is None or not frame.half_lit:
                picture = self.live.process(frame)
            if frame.half_lit:
                self.live.begin_anew()
            yield Shown(
                frame,
                picture,
                (frame.sensor_time_ns - int(table.sensor_time_ns[0])) / 1e9,
                since_s if since_s is not None and since_s >= 0 else None,
                bool(levels[number] > 0),
                (number + 1) / recording.frames,
                number == last,
            )

    def _dark_on_purpose(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which frames tell the ambient light, and which are not shown: those unlit or half lit for its sake."""
        table = self._recording.frame_table
        times_s, lit = table.sensor_time_ns / 1e9, table.levels > 0
        half = self._recording.half_lit
        if self._off == "nothing":
            return np.zeros_like(lit), np.zeros_like(lit)
        for_its_sake = ~lit & ~_light_off(times_s, lit)
        return ~lit & ~half, half | for_its_sake if self._off == "whole" else for_its_sake

    def _begin(self) -> None:
        try:
            self.live.mark_baseline()
        except Refused as refused:
            self.notes.append(refused.what)
        if self.live.reference_state() is not None:
            self.live.set_view("relative")


def _light_off(times_s: NDArray[np.float64], lit: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Frames of dark spells longer than any on purpose."""
    off = np.zeros_like(lit)
    for spell in np.split(np.arange(lit.size), np.flatnonzero(np.diff(lit)) + 1):
        if spell.size and not lit[spell[0]]:
            off[spell] = times_s[spell[-1]] - times_s[spell[0]] > LONGEST_UNSEEN_S
    return off
