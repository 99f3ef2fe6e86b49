"""From the edges of one contact to what the finger meant: pure, without threads, pins or a clock of its own.

Debouncing is deliberately lopsided. A press counts once the contact has been closed for ``debounce_ms``, dated from its first
edge. Light, however, ends at the first opening of the contact: debouncing delays only what may follow.

A hold begins after ``hold_ms``, not at once: light at once would flash the ring at each short or double press, and the light
would be on for nothing. Half a second is the price, paid before the dye comes.

Presses that follow one another within ``double_press_ms`` count together, so one and two wait that long after the last release
for a further one; three is the most there is and waits for nothing.
"""

from dataclasses import dataclass
from typing import Literal

from shared.settings import ButtonSettings

GestureKind = Literal["short press", "double press", "triple press", "hold began", "hold ended"]

_PRESSES: dict[int, GestureKind] = {1: "short press", 2: "double press", 3: "triple press"}
_MOST_PRESSES = max(_PRESSES)


@dataclass(frozen=True)
class Gesture:
    """What the finger did. ``time_ns`` is the first edge of the first press; for a hold, when it began or ended."""

    kind: GestureKind
    time_ns: int


class GestureReader:
    """Feed ``edge`` with every change of the contact and ``tick`` with the time; take gestures from ``tick``.

    Times are nanoseconds of one monotonic clock. One that lies before the latest is taken as the latest.
    """

    def __init__(self, settings: ButtonSettings) -> None:
        self._debounce_ns = settings.debounce_ms * 1_000_000
        self._hold_ns = settings.hold_ms * 1_000_000
        self._between_ns = settings.double_press_ms * 1_000_000
        self._now_ns = 0
        self._closed = False
        self._edge_ns = 0
        self._pressed = False
        self._left_ns: int | None = None
        self._press_ns = 0
        self._release_ns = 0
        self._held_since_ns: int | None = None
        self._spent = False
        self._count = 0
        self._first_ns = 0
        self._gestures: list[Gesture] = []

    @property
    def closed(self) -> bool:
        """Whether the contact is closed by its latest edge, bouncing or not."""
        return self._closed

    @property
    def held_since_ns(self) -> int | None:
        """When the hold under way began; None outside a hold."""
        return self._held_since_ns

    @property
    def pressed_since_ns(self) -> int | None:
        """When the press under way began, debounced; None while the button is up."""
        return self._press_ns if self._pressed else None

    def edge(self, pressed: bool, time_ns: int) -> None:
        """The contact closed or opened at ``time_ns``; an edge to the state it has already is no edge."""
        self._advance(time_ns)
        if pressed == self._closed:
            return
        self._closed = pressed
        self._edge_ns = self._now_ns
        if self._left_ns is None:
            self._left_ns = self._now_ns
        if pressed and self._pressed and self._spent:
            self._press_ns = self._now_ns
        if not pressed and self._held_since_ns is not None:
            self._held_since_ns = None
            self._gestures.append(Gesture("hold ended", self._now_ns))

    def tick(self, time_ns: int) -> list[Gesture]:
        """Everything recognised up to ``time_ns`` and not yet taken, in order."""
        self._advance(time_ns)
        taken, self._gestures = self._gestures, []
        return taken

    @property
    def next_deadline_ns(self) -> int | None:
        """When ``tick`` has something to decide next, edges apart; None: only an edge can change anything."""
        deadlines = []
        if self._left_ns is not None:
            deadlines.append(self._edge_ns + self._debounce_ns)
        if self._pressed and self._closed and self._held_since_ns is None:
            deadlines.append(self._hold_deadline_ns())
        if self._count and not self._pressed and self._left_ns is None:
            deadlines.append(self._release_ns + self._between_ns)
        return min(deadlines, default=None)

    def _advance(self, time_ns: int) -> None:
        """Decide, in order of time, whatever falls due up to ``time_ns``."""
        time_ns = max(time_ns, self._now_ns)
        while (deadline_ns := self.next_deadline_ns) is not None and deadline_ns <= time_ns:
            self._now_ns = max(deadline_ns, self._now_ns)
            self._decide()
        self._now_ns = time_ns

    def _decide(self) -> None:
        if self._left_ns is not None and self._now_ns >= self._edge_ns + self._debounce_ns:
            self._settle(self._left_ns)
        elif self._pressed and self._closed and self._held_since_ns is None:
            self._flush_presses()
            self._held_since_ns = self._now_ns
            self._spent = True
            self._gestures.append(Gesture("hold began", self._now_ns))
        else:
            self._flush_presses()

    def _settle(self, left_ns: int) -> None:
        """The contact has been still for the debounce time: what was bouncing since ``left_ns`` is now a fact, or was nothing."""
        self._left_ns = None
        if self._closed == self._pressed:
            return
        self._pressed = self._closed
        if self._pressed:
            self._begin_press(left_ns)
        else:
            self._end_press(left_ns)

    def _begin_press(self, left_ns: int) -> None:
        self._press_ns = left_ns
        self._spent = False
        if not self._count:
            self._first_ns = left_ns

    def _end_press(self, left_ns: int) -> None:
        self._release_ns = left_ns
        if self._spent:
            return
        self._count += 1
        if self._count == _MOST_PRESSES:
            self._flush_presses()

    def _flush_presses(self) -> None:
        if self._count:
            self._gestures.append(Gesture(_PRESSES[self._count], self._first_ns))
            self._count = 0

    def _hold_deadline_ns(self) -> int:
        return max(self._press_ns + self._hold_ns, self._edge_ns + self._debounce_ns)
