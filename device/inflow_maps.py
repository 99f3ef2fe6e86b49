"""Inflow maps on the imager: gathered with every frame of a recording, read by a child process at its end, kept beside it.

Gathering happens in the imager's loop, after the picture is out: it costs little more than the copy that a thread would need.
Reading is left to a niced process (maps_reader.py), and memory for gathering is asked for when a recording begins.
"""

import logging
import shutil
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from queue import SimpleQueue

import numpy as np

from device.maps_reader import AFTERWARDS, MapsReader
from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.inflow.handover import Answer, Order, hand_over
from shared.inflow.maps_motion import MovedBins
from shared.inflow.maps_place import Followed
from shared.inflow.maps_slots import SHORTEST_S, Bins, MapGatherer, defects_of
from shared.motion.follower import reducers_of
from shared.motion.pose import Motion
from shared.motion.reduced import LEAST_SIDE
from shared.motion.track import Track
from shared.nearing import EVERY_S, Look, Nearing
from shared.region import Region

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Marks:
    """What the operator marked for a run: the reference, and when the dye went in, sensor time."""

    reference: Region | None
    injected_at_ns: int | None


@dataclass(eq=False)
class _Run:
    """A recording that is followed. ``looks`` go from the loop to the run's own thread, None after the last; ``marks`` are set
    before that.
    """

    path: Path
    gatherer: MapGatherer | None
    before: threading.Thread | None
    track: Track
    nearing: Nearing
    looks: SimpleQueue[Look | None] = field(default_factory=SimpleQueue)
    marks: Marks = Marks(None, None)


class LiveMaps:
    """Follows the recordings that run. ``take`` is called by the imager's loop; the rest from any thread."""

    def __init__(
        self,
        calibration: Calibration,
        running: Callable[[], Path | None],
        marks: Callable[[], Marks],
        reader: MapsReader,
        folder: Path,
        ambient_off: bool = False,
    ) -> None:
        """``running`` names the folder of the recording being kept; ``reader`` finds what was gathered in ``folder``,
        best in memory. ``ambient_off`` where unlit frames are among those taken.

        Make one before the camera starts: it compiles first.
        """
        warm_up()
        self._calibration = calibration
        self._bins = Bins.of(calibration)
        self._moved = MovedBins(calibration, defects_of(calibration))
        self._reducers = reducers_of(calibration) if min(calibration.camera.shape) >= LEAST_SIDE else ()
        self._running = running
        self._marks = marks
        self._reader = reader
        self._folder = folder
        self._ambient_off = ambient_off
        shutil.rmtree(folder, ignore_errors=True)
        self._run: _Run | None = None
        self._path: Path | None = None
        self._reading: threading.Thread | None = None
        self.ready: str | None = None
        """Name of the newest recording whose maps are kept with it."""
        self.note = ""
        """Why the newest recording has none; empty otherwise."""
        self.took_s = 0.0

    def take(self, frame: Frame) -> None:
        """Take a frame of the recording that runs; begin with a new one, and have the maps of one that ended read."""
        path = self._running()
        if path != self._path:
            self._end()
            self._path = path
            if path is not None:
                self._begin(path)
        if self._run is not None and self._run.gatherer is not None:
            self._gather(frame, self._run, self._run.gatherer)

    @property
    def hand_trouble(self) -> str:
        """Why frames of the run that goes on are missing from its maps; empty where they are not."""
        run = self._run
        return run.track.trouble if run is not None else ""

    def close(self) -> None:
        """Have what was gathered read, and wait for it."""
        self._end()
        if self._reading is not None:
            self._reading.join()

    def wait(self, timeout_s: float) -> bool:
        """Wait until nothing is being read; returns whether that is so."""
        if self._run is not None or self._reading is None:
            return self._run is None
        self._reading.join(timeout_s)
        return not self._reading.is_alive()

    def _begin(self, path: Path) -> None:
        gatherer = MapGatherer(
            self._calibration, known_bins=self._bins, known_moved=self._moved, ambient_off=self._ambient_off
        )
        track = Track(self._calibration, self._reducers)
        nearing = Nearing(self._calibration, self._reducers[0] if self._reducers else None)
        self._run = _Run(path, gatherer, self._reading, track, nearing)
        self._reading = threading.Thread(target=self._follow, args=(self._run,), name="maps of the run", daemon=True)
        self._reading.start()

    def _gather(self, frame: Frame, run: _Run, gatherer: MapGatherer) -> None:
        """Take a frame at the place of its tissue; where that is not known, it is left out and said."""
        track = run.track
        if (reference := self._marks().reference) is not None:
            since_ns = 0 if gatherer.first_ns is None else frame.sensor_time_ns - gatherer.first_ns
            track.mark(reference, since_ns / 1e9)
        motion = track.take(frame)
        if motion is not None or not frame.lit:
            gatherer.add(frame, motion)
        since_s = track.times_s[-1]
        if motion is not None and track.found_at is not None and run.nearing.is_due(since_s):
            run.looks.put(run.nearing.look(frame.pixels, motion, since_s))

    def _end(self) -> None:
        run, self._run, self._path = self._run, None, None
        if run is not None:
            run.marks = self._marks()
            run.looks.put(None)

    # ---- the run's own thread -----------------------------------------------------------------------------------------

    def _follow(self, run: _Run) -> None:
        """See how near the hand is until the recording ends, hand over what was gathered, and wait for the maps."""
        folder = self._folder / run.path.stem
        self._reader.load()
        for look in iter(run.looks.get, None):
            run.nearing.join(look)
        if run.before is not None:
            run.before.join()
        try:
            answer = self._reader.read(self._handed_over(run, folder), folder)
        except OSError as error:
            run.gatherer = None
            answer = Answer(f"no maps: {error.strerror}; {AFTERWARDS}")
        finally:
            shutil.rmtree(folder, ignore_errors=True)
        self.note = answer.refused
        if answer.refused:
            _log.warning("%s: %s", run.path.stem, answer.refused)
        else:
            self.ready, self.took_s = run.path.stem, answer.took_s

    def _handed_over(self, run: _Run, folder: Path) -> Order:
        """Write down what was gathered and give its memory back."""
        gatherer, marks = run.gatherer, run.marks
        assert gatherer is not None
        hand_over(folder, gatherer)
        reference = "" if marks.reference is None else str(run.track.in_reference_view(marks.reference))
        since_s = None
        if marks.injected_at_ns is not None and gatherer.first_ns is not None:
            since_s = (marks.injected_at_ns - gatherer.first_ns) / 1e9
        run.gatherer = None
        notes = (*run.track.warnings(), *run.nearing.warnings(), *gatherer.notes)
        followed = Followed(run.track.place_u_px, notes, run.track.shared_u_px, self._ambient_off)
        return Order(str(run.path.absolute()), reference, since_s, followed)


def warm_up() -> None:
    """Compile what follows and gathers, or load it from numba's cache. Seconds once, then milliseconds."""
    camera = CameraDescription("warm-up", 384, 320)
    calibration = Calibration.assumed(camera)
    gatherer, track = MapGatherer(calibration, 8, ambient_off=True), Track(calibration)
    tissue = np.random.default_rng(0).integers(100, 900, camera.shape).astype(np.uint16)
    tissue[:32, :32] = calibration.saturation_counts  # what marks these is to be compiled too
    for number in range(12):
        frame = Frame(np.roll(tissue, number, axis=1), number, round(number * SHORTEST_S * 1e9), 10_000.0)
        if number in (0, 6):  # unlit ones, where ambient light is to be measured
            frame = frame.with_light(0.0, lit=False)
        gatherer.add(frame, track.take(frame) if number > 4 else None)
    gatherer.finish()
    nearing = Nearing(calibration)
    for time_s in (0.0, EVERY_S):
        nearing.take(tissue, Motion(), time_s)
