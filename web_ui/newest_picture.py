"""The newest picture, for requests that want just one."""

from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from shared.clock import Clock
from shared.frame_bus import BusPicture, FrameBusReader
from shared.protocol.control_client import DeviceGone
from web_ui.picture_message import age_ms


@dataclass(frozen=True)
class AgedPicture:
    """A picture of the frame bus and how long ago it was published."""

    picture: BusPicture
    age_ms: int


class NewestPicture:
    """Looks at the frame bus of ``bus_path`` on request, for any thread."""

    def __init__(self, bus_path: Path, clock: Clock) -> None:
        self.bus_path = bus_path
        self.clock = clock
        self._reader = FrameBusReader(bus_path, doorbell=False)
        self._lock = Lock()

    def look(self) -> AgedPicture:
        """Raises DeviceGone when there has never been a picture."""
        with self._lock:
            picture = self._reader.latest()
        if picture is None:
            raise DeviceGone("there is no picture yet", remedy="look at the device")
        return AgedPicture(picture, age_ms(picture.published_ns, self.clock.now_ns()))

    def close(self) -> None:
        """Let go of the bus."""
        with self._lock:
            self._reader.close()
