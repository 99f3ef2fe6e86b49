"""The guard's end of its sensors: starts the process that reads them, and hears it without ever waiting.

A process and not a thread of the guard: a thread could hold the interpreter's lock, at ordinary priority, in the very moment in
which the guard wants to darken.
"""

import contextlib
import socket
import subprocess
import sys
from collections.abc import Iterator, Sequence

from device.light.sensors.packet import PACKET_BYTES, Reading, unpacked
from shared.errors import Refused

READINGS_PER_TURN = 64
END_WITHIN_S = 0.5


class SensorLink:
    """A running ``python -m device.light.sensors``. Raises Refused when it cannot be started."""

    def __init__(self, arguments: Sequence[str]) -> None:
        self.socket, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self.socket.setblocking(False)
        command = [sys.executable, *_interpreter_flags(), "-m", "device.light.sensors", *arguments]
        with theirs:
            try:
                self._process = subprocess.Popen(command, stdin=theirs.fileno())
            except OSError as error:
                self.socket.close()
                raise Refused("the sensors' process cannot be started", error.strerror, "see the log") from None

    def readings(self) -> Iterator[Reading]:
        """What has come since; ends where nothing waits. Raises EOFError when the process has ended, ValueError for nonsense."""
        for _ in range(READINGS_PER_TURN):
            try:
                data = self.socket.recv(PACKET_BYTES + 1)
            except BlockingIOError:
                return
            except ConnectionError:
                data = b""
            if not data:
                raise EOFError
            yield unpacked(data)

    def close(self) -> None:
        """Let the process end; one that a bus holds is killed. May be called twice."""
        self.socket.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(END_WITHIN_S)
            return
        self._process.kill()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(END_WITHIN_S)


def _interpreter_flags() -> list[str]:
    return ["-I"] if sys.flags.isolated else []
