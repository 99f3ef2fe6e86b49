"""What waits for a press of the handheld's button: one thing at a time, for half a minute."""

import hmac
import math
from dataclasses import dataclass
from threading import Lock

from shared.clock import Clock
from shared.errors import Refused
from shared.protocol.control import AwaitPress, GetPress, PressAwaited
from web_ui.device_link import DeviceLink

WAIT_S = 30.0


class Busy(Exception):
    """Someone else waits for the button; its text is the line to show."""


@dataclass(frozen=True)
class Waiting:
    """What waits: ``key`` says who may hear of it, ``label`` is shown to people."""

    key: str
    label: str
    number: int
    until_ns: int


class ButtonPress:
    """Asks the imager to await a press, and how that went. Safe from several threads; each call asks the imager once or twice."""

    def __init__(self, device: DeviceLink, clock: Clock) -> None:
        self._device = device
        self._clock = clock
        self._lock = Lock()
        self._waiting: Waiting | None = None

    @property
    def waiting(self) -> Waiting | None:
        """What waits, as far as is known without asking."""
        waiting = self._waiting
        return None if waiting is None or self._clock.now_ns() >= waiting.until_ns else waiting

    def begin(self, key: str, label: str) -> PressAwaited:
        """Await a press for ``key``; raises Busy while another waits, Refused when the device cannot."""
        with self._lock:
            if self._waiting is not None:
                left = self._look(self._waiting)
                if left.state == "waiting":
                    raise Busy(f"another tablet waits for the button; try again in {math.ceil(left.seconds_left)} s")
            awaited = self._device.ask_for(PressAwaited, AwaitPress(WAIT_S))
            until_ns = self._clock.now_ns() + round(awaited.seconds_left * 1e9)
            self._waiting = Waiting(key, label, awaited.number, until_ns)
            return awaited

    def look(self, key: str) -> tuple[Waiting, PressAwaited] | None:
        """How the press for ``key`` stands, None where none is known. One that is over is told once, and then forgotten."""
        with self._lock:
            waiting = self._waiting
            if waiting is None or not hmac.compare_digest(waiting.key, key):
                return None
            awaited = self._look(waiting)
            if awaited.state != "waiting":
                self._waiting = None
            return waiting, awaited

    def drop(self) -> None:
        """Await no more, whoever asked."""
        with self._lock:
            if self._waiting is not None:
                self._look(self._waiting, drop=True)

    def _look(self, waiting: Waiting, *, drop: bool = False) -> PressAwaited:
        try:
            return self._device.ask_for(PressAwaited, GetPress(waiting.number, drop))
        except Refused:
            self._waiting = None
            raise
