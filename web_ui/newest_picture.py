"""The newest picture, for requests that want just one."""

from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from shared.clock import Clock
from shared.frame_bus import FrameBusReader
from shared.protocol.control_client import DeviceGone


@dataclass(frozen=True)
class AgedPicture:
    """A JPEG and how long ago it was published."""

    jpeg: bytes
    sequence: int
    age_ms: int


class NewestPicture:
    """Looks at the frame bus on request, for any thread."""

    def __init__(self, bus_path: Path, clock: Clock) -> None:
        self._reader = FrameBusReader(bus_path, doorbell=False)
        self._clock = clock
        self._lock = Lock()

    def look(self) -> AgedPicture:
        """Raises DeviceGone when there has never been a picture."""
        with self._lock:
            picture = self._reader.latest()
        if picture is None:
            raise DeviceGone("there is no picture yet", remedy="look at the device")
        age_ms = max(0, self._clock.now_ns() - picture.published_ns) // 1_000_000
        return AgedPicture(picture.jpeg, picture.sequence, age_ms)

    def close(self) -> None:
        """Let go of the bus."""
        with self._lock:
            self._reader.close()
