"""Inflow maps on the imager: gathered with every frame of a recording, read by threads of their own at its end, kept beside it.

Gathering happens in the imager's loop, after the picture is out: it costs little more than the copy that a thread would need.
Reading takes seconds, without the interpreter's lock but for moments. It gets half of the cores, for the light may be on meanwhile
and lives on the loop's frames. Its threads have the loop's own priority: one of a lower priority that was put aside while it held
the lock would hold up the loop, and with it the light's lease.
"""

import logging
import os
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.inflow.map_values import InflowMaps
from shared.inflow.maps import inflow_maps
from shared.inflow.maps_slots import SHORTEST_S, MapGatherer
from shared.inflow.maps_store import write_maps
from shared.region import Region

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Marks:
    """What the operator marked for a run: the reference, and when the dye went in, sensor time."""

    reference: Region | None
    injected_at_ns: int | None


def warm_up() -> None:
    """Compile what gathers and reads, or load it from numba's cache. Seconds once, then milliseconds."""
    camera = CameraDescription("warm-up", 32, 32)
    gatherer = MapGatherer(Calibration.assumed(camera), 16)
    for number in range(40):
        pixels = np.full(camera.shape, 100 + 5 * number, np.uint16)
        gatherer.add(Frame(pixels, number, round(number * SHORTEST_S * 1e9), 10_000.0))
    inflow_maps(gatherer, Region("warm-up", "rectangle", (0, 0, 32, 32)), None)


def read_on_cores(
    gatherer: MapGatherer,
    reference: Region | None,
    injected_at_s: float | None,
    motion_followed: bool = False,
    share: float = 1.0,
) -> InflowMaps:
    """The maps, read by one thread on each core of a ``share`` of them. Raises like ``inflow_maps``."""
    with ThreadPoolExecutor(max(1, int(share * (os.cpu_count() or 1))), "maps") as pool:
        return inflow_maps(gatherer, reference, injected_at_s, pool.map, motion_followed)


class LiveMaps:
    """Follows the recordings that run. ``take`` is called by the imager's loop; the rest from any thread."""

    def __init__(
        self, calibration: Calibration, running: Callable[[], Path | None], marks: Callable[[], Marks]
    ) -> None:
        """``running`` names the folder of the recording being kept. Make one before the camera starts: it compiles first."""
        warm_up()
        self._calibration = calibration
        self._running = running
        self._marks = marks
        self._path: Path | None = None
        self._gatherer: MapGatherer | None = None
        self._spare: MapGatherer | None = MapGatherer(calibration)
        self._reading: threading.Thread | None = None
        self.ready: str | None = None
        """Name of the newest recording whose maps are kept with it."""
        self.note = ""
        """Why the newest recording has none; empty otherwise."""
        self.took_s = 0.0

    def take(self, frame: Frame) -> None:
        """Take a frame of the recording that runs; begin with a new one, and read the maps of one that ended."""
        path = self._running()
        if path != self._path:
            self._end()
            self._path = path
            if path is not None:
                self._gatherer, self._spare = self._spare or MapGatherer(self._calibration), None
        if self._gatherer is not None:
            self._gatherer.add(frame)

    def close(self) -> None:
        """Read what was gathered, and wait for it."""
        self._end()
        if self._reading is not None:
            self._reading.join()

    def wait(self, timeout_s: float) -> bool:
        """Wait until nothing is being read; returns whether that is so."""
        if self._reading is None:
            return True
        self._reading.join(timeout_s)
        return not self._reading.is_alive()

    def _end(self) -> None:
        gatherer, path = self._gatherer, self._path
        self._gatherer = self._path = None
        if gatherer is None or path is None:
            return
        work = (gatherer, path, self._marks(), self._reading)
        self._reading = threading.Thread(target=self._read, args=work, name="maps of the run", daemon=True)
        self._reading.start()

    def _read(self, gatherer: MapGatherer, path: Path, marks: Marks, before: threading.Thread | None) -> None:
        if before is not None:
            before.join()
        began = time.monotonic()
        try:
            since_s = None
            if marks.injected_at_ns is not None and gatherer.first_ns is not None:
                since_s = (marks.injected_at_ns - gatherer.first_ns) / 1e9
            maps = read_on_cores(gatherer, marks.reference, since_s, share=0.5)
            write_maps(path, maps)
        except Refused as refused:
            self.note = f"no maps: {refused.line}"
        except OSError as error:
            self.note = f"the maps could not be kept: {error.strerror}"
        else:
            self.note, self.ready, self.took_s = "", path.stem, time.monotonic() - began
        if self.note:
            _log.warning("%s: %s", path.stem, self.note)
        del gatherer
        if self._spare is None:
            self._spare = MapGatherer(self._calibration)
