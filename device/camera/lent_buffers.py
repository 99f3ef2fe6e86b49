"""Frame buffers made once and lent one at a time, for cameras that have no driver to do it."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np

from device.camera.source import CameraStalled
from shared.frame import Counts

_BUFFERS = 4


class LentBuffers:
    """A few (height, width) uint16 buffers. Safe from several threads."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self._free: list[Counts] = [np.zeros(shape, np.uint16) for _ in range(_BUFFERS)]
        self._lock = threading.Lock()

    @contextmanager
    def lent(self) -> Iterator[Counts]:
        """One buffer for the length of the ``with``; raises CameraStalled when all are lent."""
        with self._lock:
            if not self._free:
                raise CameraStalled(
                    f"all {_BUFFERS} frame buffers are lent: leave a frame's with before taking the next"
                )
            buffer = self._free.pop()
        try:
            yield buffer
        finally:
            with self._lock:
                self._free.append(buffer)
