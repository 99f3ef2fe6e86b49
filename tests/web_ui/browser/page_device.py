"""The fake imager with what tests of the page need: it can fall silent, trip its light, and remembers what it published."""

import json
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from shared.frame_bus import FrameBusWriter
from tests.web_ui.fake_device import FakeDevice

RATE_HZ = 10.0
"""A third of the camera's: the browser of the tests draws on the processor."""


class _Gate:
    """Stands before the frame bus; closed, nothing is published."""

    def __init__(self, bus: FrameBusWriter) -> None:
        self.open = True
        self.reference_flag = ""
        self.headers: dict[int, dict[str, Any]] = {}
        self._bus = bus

    def publish(self, header: bytes, jpeg: bytes, *, sequence: int, published_ns: int) -> None:
        if self.open:
            said = json.loads(header)
            if said["reference"] is not None:
                said["reference"]["flag"] = self.reference_flag
            self.headers[sequence] = said
            self._bus.publish(json.dumps(said).encode(), jpeg, sequence=sequence, published_ns=published_ns)

    def close(self) -> None:
        self._bus.close()


class PageDevice(FakeDevice):
    """``wait_for`` returns once a predicate of the requests holds, or fails after its deadline."""

    def __init__(self, run_folder: Path, data_folder: Path) -> None:
        self._asked = threading.Condition()
        super().__init__(run_folder, data_folder, rate_hz=RATE_HZ)
        self._gate = self._bus = _Gate(self._bus)  # type: ignore[assignment]

    def fall_silent(self) -> None:
        self._gate.open = False

    def speak_again(self) -> None:
        self._gate.open = True

    def ail_reference(self, flag: str) -> None:
        """Publish the reference with that flag from now on."""
        self._gate.reference_flag = flag

    def published(self, sequence: int) -> dict[str, Any]:
        return self._gate.headers[sequence]

    def change(self, **fields: Any) -> None:
        """Replace fields of the state; a dict changes fields inside one."""
        with self._lock:
            for name, value in fields.items():
                inner = getattr(self._state, name)
                new = replace(inner, **value) if isinstance(value, dict) else value
                self._state = replace(self._state, **{name: new})

    def wait_for(self, holds: Callable[[list[object]], bool], deadline_s: float = 20.0) -> list[object]:
        with self._asked:
            assert self._asked.wait_for(lambda: holds(self.requests), deadline_s), f"asked so far: {self.requests}"
            return list(self.requests)

    def _handle(self, request: object) -> object:
        answer = super()._handle(request)
        with self._asked:
            self._asked.notify_all()
        return answer
