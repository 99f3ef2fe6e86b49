"""A recording's frames in order, unpacked by a thread ahead of whoever works on them, so that both cores have something to do.

Unpacking holds no interpreter's lock; it takes longer than following the hand and reading the regions.
"""

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from shared.frame import Frame
from shared.motion.pose import Motion
from shared.recording import Recording
from shared.recording.unpacking import FrameUnpacker

_AHEAD = 6

Beside = Callable[[int, Frame, Motion | None], None]
"""Told each frame, its number and the motion of the hand where it is followed, while curves are read from it."""


def nothing_beside(_number: int, _frame: Frame, _motion: Motion | None) -> None:
    """Nobody else looks at the frames."""


def nothing_ahead(_frame: Frame) -> None:
    """Nothing is done with a frame before it is given out."""


@contextmanager
def frames_ahead(
    recording: Recording, look_ahead: Callable[[Frame], None] = nothing_ahead
) -> Iterator[Iterator[Frame]]:
    """Every frame, within the ``with``. The thread opens the recording anew, as one belongs to one thread.

    ``look_ahead`` is called by the thread with each frame. What the thread meets is raised where the frames are used.
    """
    waiting: queue.Queue[Frame | BaseException | None] = queue.Queue(_AHEAD)
    over = threading.Event()
    unpacking = threading.Thread(
        target=_unpack, args=(recording, look_ahead, waiting, over), name="frames ahead", daemon=True
    )
    unpacking.start()
    try:
        yield _taken(waiting)
    finally:
        over.set()
        while unpacking.is_alive():  # it may be waiting for room
            _empty(waiting)
            unpacking.join(0.01)


def _taken(waiting: queue.Queue[Frame | BaseException | None]) -> Iterator[Frame]:
    while (found := waiting.get()) is not None:
        if isinstance(found, BaseException):
            raise found
        yield found


def _empty(waiting: queue.Queue[Frame | BaseException | None]) -> None:
    while not waiting.empty():
        waiting.get_nowait()


def _unpack(
    recording: Recording,
    look_ahead: Callable[[Frame], None],
    waiting: queue.Queue[Frame | BaseException | None],
    over: threading.Event,
) -> None:
    try:
        with Recording.open(recording.path, planes=False, unpack=FrameUnpacker()) as own:
            for number in range(recording.frames):
                if over.is_set():
                    return
                frame = own.frame(number)
                look_ahead(frame)
                waiting.put(frame)
    except BaseException as error:  # noqa: BLE001 - raised again where the frames are used
        waiting.put(error)
    else:
        waiting.put(None)
