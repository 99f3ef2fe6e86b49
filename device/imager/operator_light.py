"""What the operator wants of the light, by button and by page, and passing it on to the guard, who decides.

Off is the start. With ``hold_to_light`` light is wanted only while a finger stays down: on the button until it lifts, on the page
while the touch keeps repeating itself. Without, a hold or a touch switches it on until off. A trip forgets every wish, so that what
was held must be let go and pressed again. Another level for a ring that is lit waits until it is dark for a frame; the loop sees to
that.
"""

import threading
from collections import deque
from collections.abc import Sequence

from device.light.link import LightLink
from shared.clock import Clock
from shared.protocol.light import ConditionState, LightStatus

PAGE_HOLD_NS = 1_000_000_000
"""A held touch repeats itself several times a second; a tablet that falls silent for this long has let go."""

RESTART_NS = 30_000_000_000
"""A touch first heard sooner than this after a restart may have been down since before it: camera and page take a while to
be back.
"""


PRESSES_REMEMBERED = 32
"""So many presses that have ended are known as such: a word of theirs can only be late by what a network holds back."""

SURVEY_NS = 500_000_000
"""How often the guard is asked for its list of conditions."""


class OperatorLight:
    """Joined wishes of button and page. Safe from several threads; no method waits longer than the link does."""

    def __init__(
        self, link: LightLink, levels: Sequence[float], hold_to_light: bool, clock: Clock, restarted: bool = False
    ) -> None:
        """``restarted``: another imager ran before this one. A touch that has been down since then must be lifted first."""
        self._link = link
        self._levels = tuple(levels)
        self._hold_to_light = hold_to_light
        self._clock = clock
        self._lock = threading.Lock()
        self._index = 0
        self._button_down = False
        self._page_until_ns = 0
        self._page_spent_until_ns = clock.now_ns() + RESTART_NS if restarted else 0
        self._switched_on = False
        self._page_press = 0
        self._ended: deque[int] = deque(maxlen=PRESSES_REMEMBERED)
        self._sent: tuple[bool, float, bool] | None = None
        self._unlit = self._for_a_frame = False
        self._told_level = self.level
        self._survey_ns = 0

    @property
    def level(self) -> float:
        """Level to be used when on, 0 to 1."""
        return self._levels[self._index]

    @property
    def status(self) -> LightStatus | None:
        """What the guard said last."""
        return self._link.status

    @property
    def reachable(self) -> bool:
        """Whether the guard answers."""
        return self._link.reachable

    @property
    def conditions(self) -> tuple[ConditionState, ...]:
        """Every condition to be lit as it stood a moment ago; empty while the guard does not answer."""
        return self._link.conditions

    @property
    def wanted(self) -> bool:
        """Whether anyone wants light now."""
        return self._button_down or self._switched_on or self._clock.now_ns() < self._page_until_ns

    @property
    def tripped(self) -> bool:
        """Whether the guard refuses light until it is armed again."""
        status = self._link.status
        return status is not None and status.state == "tripped"

    def keep_up(self) -> None:
        """Tell the guard what is wanted now, if it changed, and hear how its conditions stand; the loop calls this every turn."""
        with self._lock:
            self._tell()
        if (now_ns := self._clock.now_ns()) >= self._survey_ns:
            self._survey_ns = now_ns + SURVEY_NS
            self._link.survey()

    def button_on(self) -> None:
        """The button is held. After a trip this only arms the guard again; the next hold lights."""
        with self._lock:
            if self.tripped:
                self._rearm()
                return
            self._button_down = self._hold_to_light
            self._switched_on = not self._hold_to_light
            self._tell()

    def button_off(self) -> None:
        """The button was let go, or, where it switches, held again."""
        with self._lock:
            self._button_down = self._switched_on = False
            self._tell()

    def page_on(self, held: bool = False, press: int = 0) -> None:
        """A touch on the page asks for light, for the length of a held touch where light is held, or ``held`` says so.

        A ``press`` that has ended asks for nothing any more.
        """
        held = held or self._hold_to_light
        with self._lock:
            if press in self._ended:
                return
            if self.tripped:
                self._forget()
            now_ns = self._clock.now_ns()
            if held and (self.tripped or now_ns < self._page_spent_until_ns):
                # the same touch goes on: it must be lifted first
                self._page_spent_until_ns = max(self._page_spent_until_ns, now_ns + PAGE_HOLD_NS)
                return
            if self.tripped:
                return
            self._page_press = press
            if held:
                self._page_until_ns = now_ns + PAGE_HOLD_NS
            else:
                self._switched_on = True
            self._tell()

    def page_off(self, press: int = 0) -> None:
        """The page lets go. A finger on the button still counts: it is nearer to the patient.

        An off of no ``press`` is somebody else's and ends the one that holds: it may not light again by repeating itself.
        """
        with self._lock:
            ended = press or self._page_press
            if ended and ended not in self._ended:
                self._ended.append(ended)
            self._page_until_ns = self._page_spent_until_ns = 0
            self._switched_on = False
            self._tell()

    def rearm(self) -> None:
        """Leave a trip, by one deliberate act; light has to be asked for anew."""
        with self._lock:
            self._rearm()

    def step(self, steps: int, wrap: bool) -> None:
        """Brighter (positive) or dimmer by whole levels; the button wraps from the brightest to the dimmest."""
        with self._lock:
            index = self._index + steps
            self._index = index % len(self._levels) if wrap else min(max(index, 0), len(self._levels) - 1)
            self._tell()

    @property
    def step_waits(self) -> bool:
        """Whether the ring is lit at another level than the one chosen, which is set after the next darkness."""
        return self._told_level != self.level

    @property
    def told_level(self) -> float:
        """Level that the guard was asked for last."""
        return self._told_level

    @property
    def unlit(self) -> bool:
        """Whether it is dark for an unlit frame only."""
        return self._for_a_frame

    def keep_unlit(self, unlit: bool) -> None:
        """Dark for a frame, or lit again if that is still wanted; what the operator wants stays as it is."""
        with self._lock:
            self._unlit = unlit
            self._for_a_frame = self._for_a_frame or unlit
            self._tell()
            self._for_a_frame = unlit  # only now: whoever asks meanwhile must not read the last status without it

    def let_go(self) -> None:
        """Forget every wish, as after a trip: light must be asked for anew."""
        with self._lock:
            self._forget()
            self._tell()

    def choose(self, level: float) -> None:
        """The step nearest to ``level``; asks for no light."""
        with self._lock:
            self._index = min(range(len(self._levels)), key=lambda index: abs(self._levels[index] - level))
            self._tell()

    @property
    def _is_lit(self) -> bool:
        status = self._link.status
        return status is not None and status.state == "lit"

    def _rearm(self) -> None:
        self._forget()
        self._link.rearm()
        self._sent = None

    def _forget(self) -> None:
        self._button_down = self._switched_on = False
        # A touch that is on the page now may go on repeating itself: it no longer counts until it was lifted.
        self._page_spent_until_ns = max(self._page_spent_until_ns, self._page_until_ns)
        self._page_until_ns = 0

    def _tell(self) -> None:
        if self.tripped:
            self._forget()
        if not (self._is_lit and self.wanted) or self._unlit:
            self._told_level = self.level
        wish = (self.wanted, self._told_level, self._unlit)
        # A guard that came back knows of no wish, and an unreachable one must hear "off" first when it does.
        if wish != self._sent or not self._link.reachable:
            self._link.want(*wish)
            self._sent = wish if self._link.reachable else None
