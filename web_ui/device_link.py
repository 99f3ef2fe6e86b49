"""The page's line to the imager: a few connections shared by the server's threads, and one poll of the state for all viewers."""

import logging
import threading
from collections.abc import Callable
from pathlib import Path
from queue import Empty, LifoQueue
from typing import TypeVar

from shared.errors import Refused
from shared.protocol.control import GetState, State
from shared.protocol.control_client import ControlClient, DeviceGone

_log = logging.getLogger(__name__)

A = TypeVar("A")


class DeviceLink:
    """Asks the imager; a slow answer to one request holds up no other. As many connections as requests at once."""

    def __init__(self, socket_path: Path, *, timeout_s: float = 10.0) -> None:
        self._socket_path = socket_path
        self._timeout_s = timeout_s
        self._idle: LifoQueue[ControlClient] = LifoQueue()

    def ask_for(self, kind: type[A], request: object) -> A:
        """Answer of that kind; raises Refused, DeviceFault or DeviceGone as ControlClient does."""
        try:
            client = self._idle.get_nowait()
        except Empty:
            client = ControlClient(self._socket_path, timeout_s=self._timeout_s)
        try:
            return client.ask_for(kind, request)
        finally:
            self._idle.put(client)

    def close(self) -> None:
        """Hang up."""
        while True:
            try:
                self._idle.get_nowait().close()
            except Empty:
                return


class StatePoll:
    """Asks for the state ``per_s`` times a second in a thread.

    ``on_state`` is called there with each State, and with None while the imager is gone.
    """

    def __init__(self, socket_path: Path, on_state: Callable[[State | None], None], *, per_s: float = 4.0) -> None:
        self._client = ControlClient(socket_path, timeout_s=1.0)
        self._on_state = on_state
        self._interval_s = 1 / per_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._poll, name="state poll", daemon=True)
        self._thread.start()

    @property
    def alive(self) -> bool:
        """Whether the thread still asks."""
        return self._thread.is_alive()

    def close(self) -> None:
        """Stop; returns when the thread has ended."""
        self._stop.set()
        self._thread.join()
        self._client.close()

    def _poll(self) -> None:
        complaint = ""
        while not self._stop.is_set():
            try:
                state: State | None = self._client.ask_for(State, GetState())
                complaint = ""
            except Refused as refusal:
                state = None
                if not isinstance(refusal, DeviceGone) and refusal.line != complaint:
                    complaint = refusal.line
                    _log.warning("no state from the imager: %s", complaint)
            self._on_state(state)
            self._stop.wait(self._interval_s)
