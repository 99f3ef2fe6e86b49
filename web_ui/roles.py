"""Who controls, and who watches: one session controls, any number watch, and control changes hands only by consent or presence.

Consent is the controller's own yes. Presence is a press of the handheld's button, or the word that the device printed for whoever
started it; they count where the controller is not here, and only there. The button on the handheld asks nobody: what a finger wants
of the light does not pass through here.

A session is *here* while a page of it is open. A page that says goodbye has left at once; one that is lost may only have lost its
network, and counts as here for ``LOST_S`` more. A program that was paired by the word opens no page: it is here while it keeps
asking, and gives way to the first page that the word pairs.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from shared.clock import Clock
from web_ui.sessions import Session, Sessions

ASK_S = 30.0
LOST_S = 10.0

Role = Literal["controls", "watches"]


@dataclass
class _Pages:
    """Pages of a session that are open now, and when the last one was lost (None: it said goodbye)."""

    open: int = 0
    lost_s: float | None = None


class Roles:
    """Judges and changes who controls. Safe from several threads.

    ``on_change`` is called when a controller no longer is one, ``on_end`` when a session has ended; neither may wait for anything.
    """

    def __init__(self, sessions: Sessions, clock: Clock) -> None:
        self._sessions = sessions
        self._clock = clock
        self._lock = sessions.lock
        # After a restart of the web process every page has just been lost, and is about to come back.
        self._pages = {one.number: _Pages(lost_s=self._now_s()) for one in sessions.all() if one.has_page}
        self._asker: tuple[str, float] | None = None
        self._refused: set[str] = set()
        self.on_change: Callable[[], None] = lambda: None
        self.on_end: Callable[[], None] = lambda: None
        sessions.on_end = self._ended

    def welcome(self, session: Session) -> None:
        """A browser was just paired: the first to come controls, and so does one with the word where no controller is here."""
        with self._lock:
            if (session.way == "button" and self._sessions.controller is None) or self._may_take_over(session):
                self._hand_to(session.number)

    def role(self, session: Session) -> Role:
        """What that session may do now."""
        return "controls" if self._is_controller(session) else "watches"

    def may_act(self, session: Session) -> bool:
        """Whether that session may change something. One with the word takes over from a controller that is not here."""
        with self._lock:
            if not self._is_controller(session) and self._may_take_over(session):
                self._hand_to(session.number)
            return self._is_controller(session)

    def here(self, session: Session) -> bool:
        """Whether someone is at that session."""
        with self._lock:
            pages = self._pages.get(session.number)
            if pages is None:
                return self._sessions.silent_s(session) <= LOST_S
            return pages.open > 0 or (pages.lost_s is not None and self._now_s() - pages.lost_s <= LOST_S)

    # ---- pages --------------------------------------------------------------------------------------------------------

    def page_opened(self, session: Session) -> None:
        """A page of that session takes pictures."""
        with self._lock:
            self._pages.setdefault(session.number, _Pages()).open += 1
            self._sessions.set_page(session.number)
            controller = self._sessions.controller
            if session.way == "word" and (controller is None or controller.number not in self._pages):
                self._hand_to(session.number)

    def page_closed(self, session: Session, said_goodbye: bool) -> None:
        """One of them does no longer."""
        with self._lock:
            pages = self._pages.get(session.number)
            if pages is not None:
                pages.open -= 1
                pages.lost_s = None if said_goodbye else self._now_s()

    def page_looked(self, session: Session) -> None:
        """A page of that session took a single picture, as it can have no stream: it counts as one that was lost just now."""
        with self._lock:
            pages = self._pages.get(session.number)
            if pages is not None:
                pages.lost_s = self._now_s()

    # ---- control changes hands ----------------------------------------------------------------------------------------

    @property
    def asker(self) -> Session | None:
        """Who asks for control now."""
        with self._lock:
            if self._asker is not None and self._now_s() >= self._asker[1]:
                self._asker = None
            return None if self._asker is None else self._sessions.get(self._asker[0])

    def ask(self, session: Session) -> Literal["controls", "asked", "vacant", "busy", "refused"]:
        """Ask for control, or hear how the asking stands. "vacant": nobody is here to consent, so presence decides."""
        with self._lock:
            if self.may_act(session):
                return "controls"
            if session.number in self._refused:
                self._refused.discard(session.number)
                return "refused"
            controller = self._sessions.controller
            if controller is None or not self.here(controller):
                return "vacant"
            asker = self.asker
            if asker is None:
                self._asker = (session.number, self._now_s() + ASK_S)
            elif asker.number != session.number:
                return "busy"
            return "asked"

    def asks(self, session: Session) -> bool:
        """Whether that session asks now."""
        asker = self.asker
        return asker is not None and asker.number == session.number

    def answer(self, number: str, give: bool) -> bool:
        """The controller's yes or no to the session that asks; False when it asks no more."""
        with self._lock:
            asker = self.asker
            if asker is None or asker.number != number:
                return False
            self._asker = None
            if give:
                self._hand_to(number)
            else:
                self._refused.add(number)
            return True

    def take(self, session: Session) -> None:
        """Control goes to that session because the handheld's button said so."""
        with self._lock:
            self._hand_to(session.number)

    def _may_take_over(self, session: Session) -> bool:
        controller = self._sessions.controller
        return session.way == "word" and (controller is None or not self.here(controller))

    def _hand_to(self, number: str) -> None:
        before = self._sessions.controller
        if before is not None and before.number == number:
            return
        self._sessions.set_controller(number)
        self._asker = None
        self._refused.clear()
        if before is not None:
            self.on_change()

    def _is_controller(self, session: Session) -> bool:
        controller = self._sessions.controller
        return controller is not None and controller.number == session.number

    def _ended(self, session: Session) -> None:
        self._pages.pop(session.number, None)
        self._refused.discard(session.number)
        if session.controls:
            self.on_change()
        self.on_end()

    def _now_s(self) -> float:
        return self._clock.now_ns() / 1e9
