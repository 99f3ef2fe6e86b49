"""Client of the imager's control socket: ask a request, get its answer. Standard library only."""

import socket
import threading
import time
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from shared.errors import Refused
from shared.protocol.control import ANSWERS, Hello, Problem
from shared.protocol.wire import LONGEST_MESSAGE_BYTES, decoded, encoded
from shared.unix_address import reachable

A = TypeVar("A")

LONGEST_ANSWER_BYTES = 16 << 20
"""A list of many thousand recordings is longer than any request may be."""

_HINT = "is the imager running? (systemctl status tapetum-imager)"


class DeviceGone(Refused):
    """The imager does not answer. Whether a request that was on its way took effect is not known."""


class DeviceFault(Refused):
    """The imager answered that it failed; its log says why."""


class ControlClient:
    """One connection, opened when first needed and again after a loss. Threads may share it; they wait for each other."""

    def __init__(self, path: Path, *, timeout_s: float = 5.0) -> None:
        self._path = path
        self._timeout_s = timeout_s
        self._lock = threading.Lock()
        self._socket: socket.socket | None = None
        self._pending = bytearray()

    def ask(self, request: object) -> Any:
        """Answer dataclass of ``shared.protocol.control`` for a request dataclass of it.

        Raises Refused with the imager's line, DeviceFault when it failed, DeviceGone when it does not answer in time. Nothing is
        asked twice: a request on a lost connection is not repeated.
        """
        with self._lock:
            try:
                answer = self._asked(request)
            except BaseException:
                self._hang_up()
                raise
        if isinstance(answer, Problem):
            raise (DeviceFault if answer.fault else Refused)(answer.line)
        return answer

    def ask_for(self, kind: type[A], request: object) -> A:
        """Like ``ask``, for the kind of answer the request is known to have; DeviceFault for another."""
        answer = self.ask(request)
        if not isinstance(answer, kind):
            raise DeviceFault(f"the imager answered {type(answer).__name__} where {kind.__name__} was due")
        return answer

    def close(self) -> None:
        """Hang up. May be called twice; asking again connects again."""
        with self._lock:
            self._hang_up()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _asked(self, request: object) -> object:
        deadline = time.monotonic() + self._timeout_s
        data = encoded(request)
        if len(data) > LONGEST_MESSAGE_BYTES:
            raise Refused("message too long", len(data), f"at most {LONGEST_MESSAGE_BYTES} bytes")
        try:
            line = self._connected(deadline)
            line.settimeout(_left(deadline))
            line.sendall(data + b"\n")
            return decoded(self._line(line, deadline), ANSWERS, LONGEST_ANSWER_BYTES)
        except TimeoutError:
            raise DeviceGone(
                "the imager did not answer in time", f"{self._timeout_s:g} s", "look at the device"
            ) from None
        except OSError as error:
            raise DeviceGone("the imager does not answer", f"{self._path} ({error.strerror})", _HINT) from None
        except Refused as refusal:
            raise DeviceFault(f"the imager's answer is not understood ({refusal.line})") from None

    def _connected(self, deadline: float) -> socket.socket:
        """A live connection: one that the imager closed meanwhile is noticed before anything is sent on it."""
        if self._socket is not None and not _silent(self._socket):
            self._hang_up()
        if self._socket is None:
            line = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            self._socket = line
            self._pending.clear()
            line.settimeout(_left(deadline))
            with reachable(self._path) as address:
                line.connect(address)
            line.sendall(encoded(Hello()) + b"\n")
        return self._socket

    def _line(self, line: socket.socket, deadline: float) -> bytes:
        searched = 0
        while (end := self._pending.find(b"\n", searched)) < 0:
            searched = len(self._pending)
            if searched > LONGEST_ANSWER_BYTES:
                raise Refused("answer too long", searched, f"at most {LONGEST_ANSWER_BYTES} bytes")
            line.settimeout(_left(deadline))
            data = line.recv(65_536)
            if not data:
                raise ConnectionResetError(0, "it hung up")
            self._pending += data
        text = bytes(self._pending[:end])
        del self._pending[: end + 1]
        return text

    def _hang_up(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None


def _silent(line: socket.socket) -> bool:
    """Whether the connection stands and holds nothing unread (an answer nobody waits for any more, or the end)."""
    line.settimeout(0)
    try:
        line.recv(1, socket.MSG_PEEK)
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False


def _left(deadline: float) -> float:
    left = deadline - time.monotonic()
    if left <= 0:
        raise TimeoutError
    return left
