"""The process that reads the maps of runs, with what the loop leaves of the processors.

It is forked off when the imager starts and has loaded what both need: so it costs a few megabytes, where a process of its own would
need over a hundred for the compiler behind the loops. It is niced, because the light may be on meanwhile and lives on the loop's
frames; threads of the imager would share the interpreter's lock and the loop's priority with it.
"""

import contextlib
import multiprocessing
import os
import shutil
import signal
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from multiprocessing.connection import Connection
from multiprocessing.context import BaseContext
from multiprocessing.process import BaseProcess
from pathlib import Path

import numpy as np

from device.spare_memory import give_back
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.inflow.handover import Answer, Order, taken_over
from shared.inflow.map_values import InflowMaps
from shared.inflow.maps import inflow_maps
from shared.inflow.maps_bins import Gathered
from shared.inflow.maps_place import Followed
from shared.inflow.maps_slots import SHORTEST_S, MapGatherer
from shared.inflow.maps_store import write_maps
from shared.region import Region

_NICENESS = 10
_LOAD = "load"
AFTERWARDS = "they can still be made: export the recording's maps"


def warm_up() -> None:
    """Compile what gathers and reads, or load it from numba's cache. Seconds once, then milliseconds."""
    camera = CameraDescription("warm-up", 32, 32)
    gatherer = MapGatherer(Calibration.assumed(camera), 16)
    for number in range(40):
        pixels = np.full(camera.shape, 100 + 5 * number, np.uint16)
        gatherer.add(Frame(pixels, number, round(number * SHORTEST_S * 1e9), 10_000.0))
    inflow_maps(gatherer, Region("warm-up", "rectangle", (0, 0, 32, 32)), None)


def read_on_cores(
    gathered: Gathered, reference: Region | None, injected_at_s: float | None, followed: Followed | None = None
) -> InflowMaps:
    """The maps, read by one thread on each core. Raises like ``inflow_maps``."""
    with ThreadPoolExecutor(os.cpu_count() or 1, "maps") as pool:
        return inflow_maps(gathered, reference, injected_at_s, pool.map, followed)


def carried_out(order: Order, folder: Path) -> Answer:
    """Read what lies in ``folder``, take the folder away, and put the maps beside the recording."""
    began = time.monotonic()
    try:
        gathered = taken_over(folder)
        shutil.rmtree(folder, ignore_errors=True)
        reference = Region.parse(order.reference) if order.reference else None
        write_maps(Path(order.recording), read_on_cores(gathered, reference, order.injected_at_s, order.followed))
    except Refused as refused:
        return Answer(f"no maps: {refused.line}")
    except OSError as error:
        return Answer(f"the maps could not be kept: {error.strerror}")
    return Answer("", time.monotonic() - began)


class MapsReader:
    """Reads one run after the other. Safe from several threads."""

    def __init__(self, context: BaseContext) -> None:
        """Start the process by ``context``; "fork" only while this process has no threads."""
        self._lock = threading.Lock()
        self._process, self._pipe = _started(context)

    @property
    def pid(self) -> int | None:
        """Of the process."""
        return self._process.pid

    def load(self) -> None:
        """Let it load its loops, which takes a second, or minutes where they must be compiled; returns at once."""
        with contextlib.suppress(OSError):
            self._pipe.send(_LOAD)

    def read(self, order: Order, folder: Path) -> Answer:
        """Have what was handed over in ``folder`` read, and wait for it. A process that died is replaced for the next time."""
        with self._lock:
            try:
                self._pipe.send((order, folder))
                answer: Answer = self._pipe.recv()
            except (OSError, EOFError):
                self._process.join()
                answer = Answer(f"no maps: their reader ended with status {self._process.exitcode}; {AFTERWARDS}")
                self._pipe.close()
                self._process, self._pipe = _started(multiprocessing.get_context("spawn"))
            return answer

    def close(self) -> None:
        """Let it finish a run that it has, and wait for its end; may be called twice.

        Loops that it only loads are not waited for: niced on a busy machine, or compiling, it would outlast the imager's own end.
        """
        with self._lock:
            self._process.kill()
        self._pipe.close()
        self._process.join()


def _started(context: BaseContext) -> tuple[BaseProcess, Connection]:
    ours, its = context.Pipe()
    process = context.Process(target=_serve, args=(its, ours), name="maps reader", daemon=True)  # type: ignore[attr-defined]
    process.start()
    its.close()
    return process, ours


def _serve(pipe: Connection, other_end: Connection) -> None:
    """What the process does: until the imager is gone. An order it has is finished all the same."""
    other_end.close()
    os.nice(_NICENESS)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, signal.SIG_IGN)
    is_warm = False
    with pipe, contextlib.suppress(EOFError, OSError):
        while True:
            asked = pipe.recv()
            if not is_warm:
                warm_up()
                is_warm = True
            if asked != _LOAD:
                pipe.send(carried_out(*asked))
            give_back()
