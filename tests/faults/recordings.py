"""The recording that runs beside a trial of the house: afterwards it opens, whole or up to the last second, every gap counted."""

import random
import shutil
from typing import Any

import numpy as np

from shared.errors import Refused
from shared.protocol import control as c
from shared.recording import Recording
from tests.faults.catalogue import Blow
from tests.faults.house import House
from tests.faults.ring_watch import patiently

LOST_AT_MOST_S = 1.0
HALF = 0.5


class CheckedRecording:
    """``name`` None: there is none to be checked."""

    def __init__(self, house: House, name: str | None, found: Any) -> None:
        self._house, self._name, self._found = house, name, found
        self._times_told = not any("camera" in fault.name for fault in found.blow.faults)
        self._imager = house.pid("imager") if name else 0
        self._last_seen_ns = 0

    def check(self) -> None:
        """Stop it, if its imager still lives, and open it."""
        if self._name is None:
            return
        survived = self._house.pid("imager") == self._imager
        if survived:
            self._house.ask(c.Record("stop"))
            patiently(lambda: (s := self._house.ask(c.GetState())) is not None and s.recording.name is None, 10.0)
        path = self._house.data_dir / "recordings" / f"{self._name}.zarr"
        try:
            with Recording.open(path) as recording:
                self._judge(recording, survived)
        except Refused as refused:
            self._found.violations.append(f"the recording does not open: {refused.line}")
        shutil.rmtree(path, ignore_errors=True)

    def _judge(self, recording: Recording, survived: bool) -> None:
        complain = self._found.violations.append
        if survived and not recording.complete:
            complain("the recording of an imager that lived on is not complete")
        if not recording.frames:
            complain("the recording holds no frame")
            return
        recording.pixels(recording.frames - 1)
        self._found.recording = "complete" if recording.complete else "cut off"
        table, interval_ns = recording.frame_table, recording.camera.frame_interval_us * 1000
        if self._times_told:
            steps = np.rint(np.diff(table.sensor_time_ns) / interval_ns).astype(int)
            if (steps != np.diff(table.sequence)).any():
                complain("the recording has gaps that are not counted")
            lost_s = (self._found.struck_ns - int(table.sensor_time_ns[-1])) / 1e9
            if not survived:
                self._found.lost_s = lost_s
            if not survived and lost_s > LOST_AT_MOST_S:
                complain(f"the recording lost its last {lost_s:.2f} s")


class NoRecording:
    """Nothing runs beside."""

    def check(self) -> None:
        """Nothing to check."""


def checked_recording(rig: Any, blow: Blow, rng: random.Random, found: Any) -> CheckedRecording | NoRecording:
    """A recording of the house in half of its trials."""
    if not isinstance(rig, House) or rng.random() > HALF:
        return NoRecording()
    state = rig.ask(c.Record("start", "quay-7"))
    if state is None or state.recording.name is None:
        return NoRecording()
    name = state.recording.name
    patiently(lambda: (s := rig.ask(c.GetState())) is not None and s.recording.frames > 3, 5.0)
    return CheckedRecording(rig, name, found)
