"""The guard's loop: one thread, one selector, a timer armed to the next thing due, one imager at a time.

Whatever arrives, and however much, each turn does a bounded amount of work and looks at the lease first.
"""

import contextlib
import fcntl
import os
import selectors
import signal
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Self

from device.light.guard import Guard
from device.light.sensors.link import SensorLink
from device.light.service import ServiceNotice
from shared.clock import Clock
from shared.errors import Refused
from shared.protocol.light import TO_GUARD
from shared.protocol.wire import decoded, encoded

SOCKET_NAME = "light.sock"
LOCK_NAME = "light.lock"
LONGEST_PACKET_BYTES = 4096
MESSAGES_PER_TURN = 16
MESSAGES_PER_S = 2000
"""Ten times what the fastest camera causes."""

STOP_SIGNALS = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)


class GuardLoop:
    """Serves ``light.sock`` in the run folder until told to stop. Raises Refused when another guard serves it."""

    def __init__(
        self,
        guard: Guard,
        run_dir: Path,
        clock: Clock,
        notice: ServiceNotice,
        log: Callable[[str], None],
        sensors: SensorLink | None = None,
    ) -> None:
        self._guard, self._clock, self._notice, self._log, self._sensors = guard, clock, notice, log, sensors
        self._path = run_dir / SOCKET_NAME
        self._selector = selectors.DefaultSelector()
        self._imager: socket.socket | None = None
        self._second_ns, self._messages = 0, 0
        self._fed_ns = -(2**62)
        self._stopping = ""
        with contextlib.ExitStack() as undo:
            undo.callback(self._selector.close)
            self._listener = undo.enter_context(_listening(self._path))
            self._woken, self._waker = socket.socketpair()
            self._undo = undo.pop_all()
        self._undo.callback(self._woken.close)
        self._undo.callback(self._waker.close)
        self._undo.callback(self._path.unlink, missing_ok=True)
        for source, act in ((self._listener, self._accept), (self._woken, self._drain_wakes)):
            source.setblocking(False)
            self._selector.register(source, selectors.EVENT_READ, act)
        self._waker.setblocking(False)
        if sensors is not None:
            self._selector.register(sensors.socket, selectors.EVENT_READ, self._sense)

    def __enter__(self) -> Self:
        """Take the signals that end a service; they end the loop, between two turns."""
        self._old_wakeup = signal.set_wakeup_fd(self._waker.fileno(), warn_on_full_buffer=False)
        self._old_handlers = {number: signal.signal(number, self._stop_on) for number in STOP_SIGNALS}
        return self

    def __exit__(self, *_: object) -> None:
        """Leave the signals as found, and close every socket."""
        for number, handler in self._old_handlers.items():
            signal.signal(number, handler)
        signal.set_wakeup_fd(self._old_wakeup)
        self._notice.say("STOPPING=1")
        if self._imager is not None:
            self._imager.close()
        self._undo.close()

    def stop(self, why: str) -> None:
        """End ``run`` at its next turn."""
        self._stopping = why

    def run(self) -> str:
        """Serve until stopped; returns why. The caller darkens the lamp, however this ends."""
        self._notice.say("READY=1")
        while not self._stopping:
            self._guard.turn()
            ready = self._selector.select(self._wait_s())
            self._guard.turn()
            for key, _events in ready:
                key.data()
            self._feed_watchdog()
        return self._stopping

    def _wait_s(self) -> float | None:
        every_ns = self._notice.watchdog_ns
        dues = [self._guard.due_ns(), self._fed_ns + every_ns if every_ns else None]
        due_ns = min((due for due in dues if due is not None), default=None)
        return None if due_ns is None else max(0, due_ns - self._clock.now_ns()) / 1e9

    def _stop_on(self, number: int, _frame: object) -> None:
        self.stop(signal.Signals(number).name)

    def _drain_wakes(self) -> None:
        with contextlib.suppress(BlockingIOError):
            self._woken.recv(4096)

    def _sense(self) -> None:
        assert self._sensors is not None
        try:
            for reading in self._sensors.readings():
                self._guard.sense(reading)
        except (EOFError, ValueError) as error:
            self._guard.fault("the sensors' process ended" if isinstance(error, EOFError) else str(error))
            self.stop("the end of its sensors")

    def _feed_watchdog(self) -> None:
        now_ns = self._clock.now_ns()
        # Time that ran backwards is a trip, but no reason to starve the watchdog: a restart would forget the trip.
        if self._notice.watchdog_ns and not 0 <= now_ns - self._fed_ns < self._notice.watchdog_ns:
            self._fed_ns = now_ns
            self._notice.say("WATCHDOG=1")

    def _accept(self) -> None:
        try:
            newcomer, _address = self._listener.accept()
        except OSError as error:
            self._log(f"a connection could not be accepted: {error.strerror}")
            return
        if self._imager is not None:
            self._log("a second imager was turned away")
            newcomer.close()
            return
        newcomer.setblocking(False)
        self._imager = newcomer
        self._selector.register(newcomer, selectors.EVENT_READ, self._receive)
        self._guard.imager_came()

    def _receive(self) -> None:
        for _ in range(MESSAGES_PER_TURN):
            if self._imager is None:
                return
            try:
                data, _ancillary, flags, _address = self._imager.recvmsg(LONGEST_PACKET_BYTES)
            except BlockingIOError:
                return
            except OSError:
                data, flags = b"", 0
            if not data:
                self._part("the imager's socket closed")
                return
            self._take(data, truncated=bool(flags & socket.MSG_TRUNC))

    def _take(self, data: bytes, truncated: bool) -> None:
        now_ns = self._clock.now_ns()
        if not 0 <= now_ns - self._second_ns < 1_000_000_000:
            self._second_ns, self._messages = now_ns, 0
        self._messages += 1
        try:
            if truncated:
                raise Refused("message too long", remedy=f"at most {LONGEST_PACKET_BYTES} bytes")
            if self._messages > MESSAGES_PER_S:
                raise Refused("too many messages", remedy=f"at most {MESSAGES_PER_S} a second")
            message = decoded(data, TO_GUARD)
        except Refused as refused:
            self._guard.fault(f"the imager sent nonsense: {refused.line}")
            self._part(refused.line)
            return
        self._answer(encoded(self._guard.take(message)))

    def _answer(self, data: bytes) -> None:
        assert self._imager is not None
        # An imager that does not read its answers, or has gone, changes nothing here: its leases or its socket end.
        with contextlib.suppress(BlockingIOError, BrokenPipeError, ConnectionResetError):
            self._imager.send(data)

    def _part(self, why: str) -> None:
        assert self._imager is not None
        gone, self._imager = self._imager, None
        self._guard.imager_left()
        self._selector.unregister(gone)
        gone.close()
        self._log(f"imager disconnected: {why}")


@contextlib.contextmanager
def only_guard(run_dir: Path) -> Iterator[None]:
    """Hold the run folder's lock; raises Refused while another guard holds it. The kernel lets it go when the process dies."""
    try:
        fd = os.open(run_dir / LOCK_NAME, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o660)
    except OSError as error:
        raise Refused(
            f"run folder {run_dir}: {error.strerror}", remedy="make the folder, writable to the guard"
        ) from None
    try:
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise Refused("another light guard runs in", str(run_dir), "stop it first") from None
        yield
    finally:
        os.close(fd)


def _listening(path: Path) -> socket.socket:
    path.unlink(missing_ok=True)  # left by a guard that was killed: the lock says that none is alive
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    old_mask = os.umask(0o117)
    try:
        listener.bind(str(path))
        listener.listen(4)
    except OSError as error:
        listener.close()
        raise Refused(
            f"socket {path}: {error.strerror or error}", remedy="choose a shorter or writable run folder"
        ) from None
    finally:
        os.umask(old_mask)
    return listener
