"""Who may do what: sessions, ways to become paired, roles and the button, put together for one web process."""

from dataclasses import dataclass
from pathlib import Path
from typing import Self

from shared.clock import Clock
from web_ui.button_press import ButtonPress
from web_ui.device_link import DeviceLink
from web_ui.hand_over import HandOver
from web_ui.pairing import Pairing
from web_ui.roles import Role, Roles
from web_ui.sessions import Session, Sessions

_FILE = "sessions.json"


@dataclass(frozen=True)
class Tablet:
    """A paired browser, as shown to people."""

    number: str
    label: str


@dataclass(frozen=True)
class AccessState:
    """What everyone may know: who controls, whether someone is there, who asks for control, and who waits for the button."""

    controller: Tablet | None
    controller_here: bool
    asker: Tablet | None
    waiting_for_button: str | None


@dataclass(frozen=True)
class Access:
    """The parts."""

    sessions: Sessions
    pairing: Pairing
    roles: Roles
    button: ButtonPress
    hand_over: HandOver

    @classmethod
    def kept_in(cls, run_folder: Path, device: DeviceLink, clock: Clock, word: str | None = None) -> Self:
        """Access as the run folder remembers it since the boot; raises Refused for files that this program did not write."""
        sessions = Sessions(clock, run_folder / _FILE)
        pairing = Pairing.kept_in(run_folder, sessions, clock, word)
        roles, hand_over = Roles(sessions, clock), HandOver(device)
        roles.on_change = hand_over.begin
        return cls(sessions, pairing, roles, ButtonPress(device, clock), hand_over)

    def paired(self, cookie: str | None) -> bool:
        """Whether that browser may look (``admission.Admission``)."""
        return self.sessions.of(cookie) is not None

    def opened(self, cookie: str | None) -> None:
        """A page of that browser takes pictures."""
        if (session := self.sessions.of(cookie)) is not None:
            self.roles.page_opened(session)

    def closed(self, cookie: str | None, said_goodbye: bool) -> None:
        """It does no longer."""
        if (session := self.sessions.of(cookie)) is not None:
            self.roles.page_closed(session, said_goodbye)

    def role(self, session: Session) -> Role:
        """Role of that session now."""
        return self.roles.role(session)

    def may_act(self, session: Session) -> bool:
        """Whether that session may change something; what the one before asked for has then ended."""
        may = self.roles.may_act(session)
        if may:
            self.hand_over.settle()
        return may

    def close(self) -> None:
        """End what may still be asked of the imager."""
        self.hand_over.close()

    def state(self) -> AccessState:
        """For every page."""
        controller, asker, waiting = self.sessions.controller, self.roles.asker, self.button.waiting
        return AccessState(
            controller=tablet(controller),
            controller_here=controller is not None and self.roles.here(controller),
            asker=tablet(asker),
            waiting_for_button=waiting.label if waiting is not None else None,
        )


def tablet(session: Session | None) -> Tablet | None:
    """Public part of a session."""
    return None if session is None else Tablet(session.number, session.label)
