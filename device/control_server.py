"""The imager's control socket: JSON lines from the page and the command line, each client served by a thread of its own.

No client can harm another: lines, clients and waiting times are limited, and a handler's mistake becomes an answer.
"""

import logging
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from shared.errors import Refused
from shared.protocol.control import REQUESTS, VERSION, Hello, Problem
from shared.protocol.wire import LONGEST_MESSAGE_BYTES, decoded, encoded
from shared.unix_address import reachable

_log = logging.getLogger(__name__)

_READ_BYTES = 65_536
_LAST_ANSWERS_S = 1.0


class ControlServer:
    """Serves ``handle`` on a Unix stream socket until closed.

    ``handle`` takes a request dataclass of ``shared.protocol.control`` and returns an answer dataclass; it is called from several
    threads at once. A Refused that it raises is answered as Problem, any other exception as Problem with ``fault`` and logged.
    ``patience_s`` bounds how long a started line, a greeting and an answer may take; ``idle_s`` how long a client may be silent.

    Raises Refused when another process serves the same path.
    """

    def __init__(
        self,
        path: Path,
        handle: Callable[[object], object],
        *,
        most_clients: int = 32,
        patience_s: float = 5.0,
        idle_s: float = 120.0,
    ) -> None:
        self._path = path
        self._handle = handle
        self._most_clients = most_clients
        self._patience_s = patience_s
        self._idle_s = idle_s
        self._clients: dict[socket.socket, threading.Thread] = {}
        self._lock = threading.Lock()
        self._closing = False
        self._listener = _listening(path)
        self._accepting = threading.Thread(target=self._accept, name="control accept", daemon=True)
        self._accepting.start()

    def close(self) -> None:
        """Hear nothing more, give the answers that are due, and take the socket away; returns when all threads have ended.

        Whoever asked for the end (a start with another calibration, say) is answered too; one who does not take it within a
        second is hung up on. May be called twice.
        """
        with self._lock:
            if self._closing:
                return
            self._closing = True
            threads = list(self._clients.values())
            for client in self._clients:
                _hang_up(client, socket.SHUT_RD)
        self._path.unlink(missing_ok=True)
        _hang_up(self._listener)
        self._accepting.join()
        self._listener.close()
        patient_until = time.monotonic() + _LAST_ANSWERS_S
        for thread in threads:
            thread.join(max(0.0, patient_until - time.monotonic()))
        with self._lock:
            for client in self._clients:
                _hang_up(client)
        for thread in threads:
            thread.join()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError as error:
                if self._closing:
                    return
                # Too many open files, say: those connected are still served, and a file may be free again soon.
                _log.error("control socket cannot accept a client: %s", error)
                time.sleep(0.1)
                continue
            self._admit(client)

    def _admit(self, client: socket.socket) -> None:
        with self._lock:
            full = len(self._clients) >= self._most_clients
            if not full and not self._closing and self._started(client):
                return
        client.settimeout(0)
        with suppress(OSError):
            client.sendall(encoded(Problem("too many programs talk to the imager; close one")) + b"\n")
        client.close()

    def _started(self, client: socket.socket) -> bool:
        thread = threading.Thread(target=self._serve, args=(client,), name="control client", daemon=True)
        try:
            thread.start()
        except RuntimeError as error:  # no more threads to be had
            _log.error("control socket cannot serve a client: %s", error)
            return False
        self._clients[client] = thread
        return True

    def _serve(self, client: socket.socket) -> None:
        try:
            self._converse(_Line(client, self._patience_s, self._idle_s))
        except OSError:  # gone, or too slow: its own affair
            pass
        finally:
            with self._lock:
                self._clients.pop(client, None)
            client.close()

    def _converse(self, line: "_Line") -> None:
        try:
            greeting = line.read(first=True)
            if greeting is None:
                return
            hello = decoded(greeting, {"Hello": Hello})
            if hello.version != VERSION:
                raise Refused("protocol version not spoken here", hello.version, f"this imager speaks {VERSION}")
            while (text := line.read()) is not None:
                line.write(self._answer(text))
        except Refused as refusal:
            line.write(Problem(refusal.line))

    def _answer(self, text: bytes) -> object:
        try:
            request: object = decoded(text, REQUESTS)
            if isinstance(request, Hello):
                raise Refused("Hello comes once, as the first line")
            return self._handle(request)
        except Refused as refusal:
            return Problem(refusal.line)
        except Exception as error:  # noqa: BLE001 - the rim: whatever went wrong, this client is told and the others are served
            _log.exception("the imager failed to answer %s", text[:200])
            return Problem(f"the device failed: {type(error).__name__}; its log says more", fault=True)


class _Line:
    """One client's stream, cut into lines, each with a deadline."""

    def __init__(self, client: socket.socket, patience_s: float, idle_s: float) -> None:
        self._client = client
        self._patience_s = patience_s
        self._idle_s = idle_s
        self._pending = bytearray()

    def read(self, *, first: bool = False) -> bytes | None:
        """Next line without its end; None when the client hung up. Raises TimeoutError, and Refused for a line too long."""
        started = time.monotonic() if self._pending or first else None
        searched = 0
        while (end := self._pending.find(b"\n", searched)) < 0:
            searched = len(self._pending)
            if searched > LONGEST_MESSAGE_BYTES:
                raise Refused("message too long", searched, f"at most {LONGEST_MESSAGE_BYTES} bytes a line")
            self._client.settimeout(self._remaining(started))
            if not (data := self._client.recv(_READ_BYTES)):
                return None
            started = started or time.monotonic()
            self._pending += data
        text = bytes(self._pending[:end])
        del self._pending[: end + 1]
        return text

    def write(self, answer: object) -> None:
        """Send an answer; raises TimeoutError when the client does not take it."""
        try:
            data = encoded(answer)
        except (ValueError, TypeError):
            _log.exception("answer cannot be written as JSON: %r", answer)
            data = encoded(Problem("the device gave an answer that cannot be sent; its log says more", fault=True))
        self._client.settimeout(self._patience_s)
        self._client.sendall(data + b"\n")

    def _remaining(self, started: float | None) -> float:
        if started is None:
            return self._idle_s
        left = started + self._patience_s - time.monotonic()
        if left <= 0:
            raise TimeoutError
        return left


def _listening(path: Path) -> socket.socket:
    """Socket at ``path``, in place of one that nobody listens to any more."""
    path.parent.mkdir(parents=True, exist_ok=True)
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        with reachable(path) as address:
            if path.is_socket() and _answers(address):
                raise Refused("another imager serves this run folder", str(path), "stop it, or choose another folder")
            path.unlink(missing_ok=True)
            listener.bind(address)
        path.chmod(0o660)
        listener.listen(16)
    except BaseException:
        listener.close()
        raise
    return listener


def _answers(address: str) -> bool:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(1.0)
        try:
            probe.connect(address)
        except (ConnectionRefusedError, FileNotFoundError):
            return False
    return True


def _hang_up(end: socket.socket, how: int = socket.SHUT_RDWR) -> None:
    with suppress(OSError):
        end.shutdown(how)
