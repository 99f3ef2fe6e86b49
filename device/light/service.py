"""What the guard says to systemd, and the priority it asks of the kernel. A few lines of standard library; no dependency."""

import os
import select
import socket
from collections.abc import Mapping

REALTIME_PRIORITY = 10
NICE = -10


class ServiceNotice:
    """Messages of sd_notify(3); silent where systemd did not ask for them."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        address = environment.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address
        microseconds = environment.get("WATCHDOG_USEC", "")
        self.watchdog_ns = int(microseconds) * 1000 // 2 if self._address and microseconds.isdigit() else None
        """How often ``WATCHDOG=1`` is due (half the time allowed); None: not asked for."""

    def say(self, text: str) -> None:
        """Send e.g. ``READY=1``. A notice that is not taken costs a restart, never light, so it is not an error here."""
        if not self._address:
            return
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as out:
            out.setblocking(False)
            try:
                out.sendto(text.encode(), self._address)
            except OSError as error:
                LogLines(2)(f"systemd did not take {text!r}: {error.strerror}")


class LogLines:
    """One line each to a file descriptor, never waiting for a reader: what cannot be written now is counted and said later."""

    def __init__(self, fd: int) -> None:
        self._fd = fd
        self._lost = 0

    def __call__(self, line: str) -> None:
        """Write ``line``."""
        if self._lost:
            line = f"({self._lost} lines lost) {line}"
        _readable, writable, _errors = select.select([], [self._fd], [], 0)
        data = f"light guard: {' '.join(line.split())}\n".encode()[: select.PIPE_BUF]
        try:
            if not writable:
                raise BlockingIOError
            os.write(self._fd, data)
        except OSError:
            self._lost += 1
        else:
            self._lost = 0


def ask_for_priority() -> str:
    """Run before everything else on a busy board; says in a sentence what was granted."""
    try:
        policy = os.SCHED_FIFO | os.SCHED_RESET_ON_FORK
        os.sched_setscheduler(0, policy, os.sched_param(REALTIME_PRIORITY))
    except OSError as error:
        try:
            return f"real-time priority was not granted ({error.strerror}); niceness {os.nice(NICE)} instead"
        except OSError:
            return f"no priority was granted ({error.strerror}): dark may come late on a busy board"
    return f"real-time priority {REALTIME_PRIORITY}"
