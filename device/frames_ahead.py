"""A recording's frames in order, unpacked by threads ahead of whoever works on them, so that both cores have something to do.

Unpacking holds no interpreter's lock; it takes longer than following the hand and reading the regions.
"""

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import cycle

from shared.frame import Frame
from shared.motion.pose import Motion
from shared.recording import Recording
from shared.recording.unpacking import FrameUnpacker

_THREADS = 2
"""They take turns: one alone would set the pace of an analysis with maps."""
_AHEAD = 3
"""Frames that wait of each."""
_Waiting = queue.Queue[Frame | BaseException | None]

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
    """Every frame, within the ``with``. Each thread opens the recording anew, as one belongs to one thread.

    ``look_ahead`` is called by the threads with each frame. What a thread meets is raised where the frames are used.
    """
    waiting: list[_Waiting] = [queue.Queue(_AHEAD) for _ in range(_THREADS)]
    over = threading.Event()
    unpacking = [
        threading.Thread(
            target=_unpack, args=(recording, first, look_ahead, frames, over), name="frames ahead", daemon=True
        )
        for first, frames in enumerate(waiting)
    ]
    for thread in unpacking:
        thread.start()
    try:
        yield _taken(waiting)
    finally:
        over.set()
        for thread, frames in zip(unpacking, waiting, strict=True):
            while thread.is_alive():  # it may be waiting for room
                _empty(frames)
                thread.join(0.01)


def _taken(waiting: list[_Waiting]) -> Iterator[Frame]:
    for frames in cycle(waiting):
        found = frames.get()
        if found is None:
            return
        if isinstance(found, BaseException):
            raise found
        yield found


def _empty(waiting: _Waiting) -> None:
    while not waiting.empty():
        waiting.get_nowait()


def _unpack(
    recording: Recording,
    first: int,
    look_ahead: Callable[[Frame], None],
    waiting: _Waiting,
    over: threading.Event,
) -> None:
    try:
        with Recording.open(recording.path, planes=False, unpack=FrameUnpacker()) as own:
            for number in range(first, recording.frames, _THREADS):
                if over.is_set():
                    return
                frame = own.frame(number)
                look_ahead(frame)
                waiting.put(frame)
    except BaseException as error:  # noqa: BLE001 - raised again where the frames are used
        waiting.put(error)
    else:
        waiting.put(None)
