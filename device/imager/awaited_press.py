"""A press of the button that the page waits for: the proof that whoever asks has the handheld in reach.

Which gesture, and why it can neither light the ring nor lose a wish for light:

- Only one short press confirms, and it is then swallowed: the level does not step. Every other gesture keeps its meaning and its
  moment, for nothing here stands between the contact and the light. A hold lights when it always does, and ends the waiting.
- A press whose first edge came within ``REACTION_NS`` of the asking was meant for something else, and does that.
- Nothing waits while light is wanted or a recording runs, one thing waits at a time, and never longer than ``LONGEST_S``: so in
  a run a short press is never taken for consent.
"""

import threading
from typing import Literal

from shared.clock import Clock
from shared.errors import Refused
from shared.protocol.control import PressAwaited

REACTION_NS = 700_000_000
"""Nobody reads a word, decides and presses faster (common practice, no source)."""

LONGEST_S = 60.0


class AwaitedPress:
    """At most one press that is awaited. Safe from several threads; nothing waits."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._number = 0
        self._from_ns = 0
        self._until_ns = 0
        self._state: Literal["waiting", "pressed", "ended"] = "ended"
        self._reason = ""

    def begin(self, seconds: float) -> PressAwaited:
        """Await a press from now on; raises Refused while another is awaited."""
        with self._lock:
            now_ns = self._settled_ns()
            if self._state == "waiting":
                raise Refused("another press of the button is awaited already", remedy="try again in a moment")
            self._number, self._from_ns = now_ns, now_ns
            self._until_ns = now_ns + round(min(seconds, LONGEST_S) * 1e9)
            self._state, self._reason = "waiting", ""
            return self._answer(now_ns)

    def look(self, number: int) -> PressAwaited:
        """How the press of that number stands; one that nobody remembers has ended."""
        with self._lock:
            now_ns = self._settled_ns()
            if number != self._number:
                return PressAwaited(number, "ended", 0.0, "the handheld waits for something else by now")
            return self._answer(now_ns)

    def take(self, pressed_ns: int) -> bool:
        """Whether a short press that began at ``pressed_ns`` was awaited; it has then done its work."""
        with self._lock:
            self._settled_ns(pressed_ns)
            if self._state != "waiting" or pressed_ns < self._from_ns + REACTION_NS:
                return False
            self._state = "pressed"
            return True

    def end(self, reason: str) -> None:
        """Wait no longer; nothing if nothing is awaited."""
        with self._lock:
            if self._state == "waiting":
                self._state, self._reason = "ended", reason

    def _settled_ns(self, at_ns: int | None = None) -> int:
        now_ns = self._clock.now_ns()
        if self._state == "waiting" and (now_ns if at_ns is None else at_ns) >= self._until_ns:
            self._state, self._reason = "ended", "nobody pressed the button in time"
        return now_ns

    def _answer(self, now_ns: int) -> PressAwaited:
        left_s = max(0.0, (self._until_ns - now_ns) / 1e9) if self._state == "waiting" else 0.0
        return PressAwaited(self._number, self._state, left_s, self._reason)
