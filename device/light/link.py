"""The imager's end of the light: a lease for each verified frame, and what the ring did, as the guard tells it.

The frame loop never waits for the guard longer than ``ANSWER_WAIT_S``; an answer that comes later is read at the next call. A lost
guard means dark: nothing here raises for it, ``reachable`` says so. Standard library only; safe to call from several threads.
"""

import select
import socket
import threading
import time
from collections import deque
from itertools import takewhile
from pathlib import Path
from typing import Literal

from device.light.lease import LeaseBook, LeaseTerms
from shared.clock import Clock
from shared.errors import Refused
from shared.protocol.light import (
    FROM_GUARD,
    TO_GUARD,
    VERSION,
    ConditionState,
    Lease,
    LightStatus,
    Look,
    Rearm,
    Seen,
    Want,
)
from shared.protocol.wire import decoded, encoded

ANSWER_WAIT_S = 0.002
RECONNECT_NS = 100_000_000
SILENT_NS = 250_000_000
"""A guard that leaves a message unanswered for so long is taken for gone."""
LIT_AFTER_NS = 250_000_000
"""A ring may give light for so long after its guard is gone: the dead-man's longest (hardware/circuits)."""

_PACKET_BYTES = 16_384
_HISTORY = 512


class LightLink:
    """One connection to ``light.sock``, made again by itself when the guard returns (no wish for light survives that)."""

    def __init__(self, socket_path: Path, clock: Clock, terms: LeaseTerms | None = None) -> None:
        self._path, self._clock = socket_path, clock
        self._book = LeaseBook(terms or LeaseTerms())
        self._lock = threading.Lock()
        self._socket: socket.socket | None = None
        self._next_try_ns = clock.now_ns()
        # of each message without an answer: when it was sent, and whether it may change the light
        self._sent: deque[tuple[int, bool]] = deque()
        self._asked_ns = 0  # since when there is one
        self._status: LightStatus | None = None
        self._reachable = False
        self._conditions: tuple[ConditionState, ...] = ()
        self._wanted_on, self._wanted_level = False, 0.0
        self._asked_on = False
        self._let_go_first = False
        self._trouble = ""
        self._fit_figures: tuple[float, float] | None = None  # (frame interval, exposure) that were checked last
        self._history: deque[tuple[int, float]] = deque(maxlen=_HISTORY)  # (since_ns, level), rising
        self._changes: deque[tuple[int, int]] = deque(maxlen=_HISTORY)  # from when until when it may have come to each

    # ---- what the imager asks ---------------------------------------------------------------------------------------

    def renew(
        self,
        frame_sequence: int,
        sensor_time_ns: int,
        frame_interval_us: float,
        exposure_us: float,
        seen: Seen = "unclear",
    ) -> LightStatus:
        """Give light a lease for this frame, if it is newer than every one before and fresh; returns the newest status.

        ``seen`` is the camera's second opinion on the last change of the light.
        """
        lease = Lease(frame_sequence, sensor_time_ns, frame_interval_us, exposure_us, seen)
        with self._lock:
            self._trouble = self._unfit(lease) or self._book.renew(lease, self._clock.now_ns())
            self._connected()
            return self._asked(Look() if self._trouble else lease)

    def want(self, on: bool, level: float, unlit: bool = False) -> LightStatus:
        """Ask for light, or for none. After a lost guard, on counts only once off was asked for (let go, press again).

        ``unlit`` keeps it dark for the moment, for an unlit frame: the operator has not let go. Raises Refused for a level that is
        none.
        """
        if not 0.0 <= level <= 1.0:
            raise Refused("light level must be from 0 to 1", level, "choose a value inside")
        with self._lock:
            connected = self._connected()  # first: if the guard was lost, this wish is one from before
            self._let_go_first = self._let_go_first and on
            self._wanted_on, self._wanted_level = connected and on and not self._let_go_first, level
            self._asked_on = self._wanted_on and not unlit
            return self._asked(Want(self._asked_on, level))

    def survey(self) -> None:
        """Ask for the list of conditions; ``conditions`` has it once it was answered."""
        with self._lock:
            self._connected()
            self._asked(Look(conditions=True))

    def release(self) -> LightStatus:
        """First half of leaving a trip: the operator let go."""
        return self._rearm("release")

    def press(self) -> LightStatus:
        """Second half: the operator pressed again. Light still has to be wanted anew."""
        return self._rearm("press")

    def rearm(self) -> LightStatus:
        """Both halves, for one deliberate act on the page. Takes the wish for light back first."""
        self.want(False, self._wanted_level)
        self.release()
        return self.press()

    def _unfit(self, lease: Lease) -> str:
        """Why the guard would call this lease nonsense (and trip); empty when it would not. Looks again only at new figures."""
        figures = (lease.frame_interval_us, lease.exposure_us)
        if figures != self._fit_figures or not 0 <= lease.sequence < 2**62 or not 0 <= lease.sensor_time_ns < 2**62:
            try:
                decoded(encoded(lease), TO_GUARD)
            except (Refused, ValueError) as error:
                return f"the camera's figures are not those of a frame: {error}"
            self._fit_figures = figures
        return ""

    def _rearm(self, act: Literal["release", "press"]) -> LightStatus:
        with self._lock:
            self._connected()
            return self._asked(Rearm(act))

    def close(self) -> None:
        """Say goodbye (light is not wanted), and close. May be called twice; every call after it finds the guard unreachable."""
        with self._lock:
            if self._socket is not None:
                self._asked(Want(False, self._wanted_level))
            self._lost("the link was closed")
            self._next_try_ns = 2**63

    # ---- what the imager knows --------------------------------------------------------------------------------------

    @property
    def status(self) -> LightStatus | None:
        """Newest status; dark, with the reason, while the guard does not answer; None before it ever did."""
        return self._status

    @property
    def reachable(self) -> bool:
        """Whether the guard answers."""
        return self._reachable

    @property
    def conditions(self) -> tuple[ConditionState, ...]:
        """Every condition to be lit as it stood at the last survey; empty while the guard does not answer."""
        return self._conditions

    @property
    def trouble(self) -> str:
        """Why the newest frame earned no lease; empty when it did."""
        return self._trouble

    def over(self, start_ns: int, end_ns: int) -> float:
        """Mean duty, 0 to 1, between two moments, from the statuses received: a change counts from when it took force.

        After the newest status, its level is taken to go on; before the oldest, dark. Exact where a later status confirms it.
        """
        with self._lock:
            steps = list(self._history)
        if end_ns <= start_ns:
            return next((level for since_ns, level in reversed(steps) if since_ns <= start_ns), 0.0)
        total = 0.0
        for number, (since_ns, level) in enumerate(steps):
            until_ns = end_ns if number + 1 == len(steps) else min(steps[number + 1][0], end_ns)
            total += level * max(0, until_ns - max(since_ns, start_ns))
        return total / (end_ns - start_ns)

    def is_steady(self, start_ns: int, end_ns: int) -> bool:
        """Whether the duty surely stayed as it was between two moments, by all answers that have come until now.

        A wish that was sent before the end and has no answer yet may have changed it; and while a level is set, from when it was
        asked for until it is in force, the ring is dark for a moment.
        """
        with self._lock:
            self._read_answers(0.0)
            if any(may_change and sent_ns < end_ns for sent_ns, may_change in self._sent):
                return False
            later = takewhile(lambda change: change[1] > start_ns, reversed(self._changes))
            return all(from_ns >= end_ns for from_ns, _ in later)

    # ---- how it asks (lock held) ------------------------------------------------------------------------------------

    def _asked(self, message: Lease | Want | Rearm | Look) -> LightStatus:
        if self._socket is not None:
            self._send(message)
            self._read_answers(ANSWER_WAIT_S)
        return self._status or self._dark("the light guard does not answer", self._clock.now_ns())

    def _connected(self) -> bool:
        now_ns = self._clock.now_ns()
        if self._sent and now_ns - self._asked_ns > SILENT_NS:
            self._read_answers(0.0)
            if self._sent:
                self._lost("the light guard does not answer")
        if self._socket is None and now_ns >= self._next_try_ns:
            self._next_try_ns = now_ns + RECONNECT_NS
            self._connect()
        return self._socket is not None

    def _connect(self) -> None:
        link = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        link.setblocking(False)
        try:
            link.connect(str(self._path))
        except OSError as error:
            link.close()
            self._lost(f"the light guard does not answer ({error.strerror or error})")
            return
        self._socket = link
        self._sent.clear()

    def _send(self, message: Lease | Want | Rearm | Look) -> None:
        assert self._socket is not None
        now_ns = self._clock.now_ns()
        try:
            self._socket.send(encoded(message))
        except BlockingIOError:
            pass  # the guard is behind by a whole socket buffer: the silence is counted as for any unanswered message
        except OSError as error:
            self._lost(f"the light guard is gone ({error.strerror})")
            return
        if not self._sent:
            self._asked_ns = now_ns
        # where light is asked for and there is none, a frame may be what it waits for
        waits_to_be_lit = self._asked_on and (self._status is None or self._status.level <= 0)
        self._sent.append((now_ns, waits_to_be_lit or isinstance(message, Want | Rearm)))

    def _read_answers(self, wait_s: float) -> None:
        deadline_ns = time.monotonic_ns() + round(wait_s * 1e9)
        while self._socket is not None:
            left_s = max(0, deadline_ns - time.monotonic_ns()) / 1e9 if self._sent else 0.0
            if not select.select([self._socket], [], [], left_s)[0]:
                return
            try:
                data = self._socket.recv(_PACKET_BYTES)
                if not data:
                    self._lost("the light guard closed the connection")
                    return
                self._take(decoded(data, FROM_GUARD))
            except OSError as error:
                self._lost(f"the light guard is gone ({error.strerror})")
            except Refused as refused:
                self._lost(f"the light guard's answer is not understood: {refused.line}")

    def _take(self, status: LightStatus) -> None:
        if status.version != VERSION:
            self._lost(f"the light guard speaks version {status.version} of the protocol, not {VERSION}")
            return
        sent_ns = self._sent.popleft()[0] if self._sent else status.since_ns
        self._asked_ns = self._clock.now_ns()
        self._status, self._reachable = status, True
        self._conditions = status.conditions or self._conditions
        self._note(status.since_ns, status.level, (min(sent_ns, status.since_ns), status.since_ns))

    def _note(self, since_ns: int, level: float, change: tuple[int, int]) -> None:
        # A link that was lost counts as dark from when that was noticed; the guard, back, may say it had been dark before.
        while self._history and self._history[-1][0] >= since_ns:
            self._history.pop()
        if not self._history or self._history[-1][1] != level:
            self._history.append((since_ns, level))
            self._changes.append(change)

    def _lost(self, why: str) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None
            self._let_go_first = self._let_go_first or self._wanted_on
        now_ns = self._clock.now_ns()
        unheard_ns = self._sent[0][0] if self._sent else now_ns
        self._sent.clear()
        self._wanted_on, self._conditions = False, ()
        self._book.drop()
        if self._status is None:
            return
        if self._reachable:
            self._note(now_ns, 0.0, (unheard_ns, now_ns + LIT_AFTER_NS))
        self._status = self._dark(why, now_ns if self._reachable else self._status.since_ns)
        self._reachable = False

    def _dark(self, reason: str, since_ns: int) -> LightStatus:
        lit_seconds = self._status.lit_seconds if self._status else 0.0
        return LightStatus("off", 0.0, False, self._wanted_level, since_ns, 0.0, lit_seconds, reason[:400])
