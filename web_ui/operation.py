"""What every operation of the interface has: a summary, who may use it, answers to what goes wrong, the parts it works with."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeVar

from apiflask import APIBlueprint
from flask import current_app, g

from web_ui.access import Access
from web_ui.device_link import DeviceLink
from web_ui.newest_picture import NewestPicture
from web_ui.roles import Role
from web_ui.sessions import Session

A = TypeVar("A")
F = TypeVar("F", bound=Callable[..., object])

Needs = Role | Literal["nothing"]

PROBLEMS = {
    400: "Refused; the line says what, which value and what to do",
    401: "This browser is not paired",
    403: "This tablet watches and the operation needs control, or the request comes from another site's page",
    404: "No such thing",
    405: "The path knows other methods",
    409: "Someone else is before you; wait a moment",
    413: "The body is too long",
    415: "The body is not JSON",
    429: "Too many tries; wait a little",
    500: "The device failed; its log says why",
    503: "The imager does not answer",
}


@dataclass(frozen=True)
class Parts:
    """What the operations work with; kept by the application. ``certificate`` is what a tablet is to trust, None without TLS."""

    device: DeviceLink
    access: Access
    pictures: NewestPicture
    data_folder: Path
    certificate: bytes | None


class NoSuchThing(Exception):
    """Asked for by name, and not there; its text is the line to show."""


class Watches(Exception):
    """The session may look, not change; its text is the line to show."""


def operation(api: APIBlueprint, summary: str, needs: Needs = "controls") -> Callable[[F], F]:
    """Describe an operation, and say who may use it."""

    def described(function: F) -> F:
        function.needs = needs  # type: ignore[attr-defined]
        security = None if needs == "nothing" else "session"
        made: F = api.doc(summary=summary, responses=PROBLEMS, security=security, extensions={"x-needs": needs})(
            function
        )
        return made

    return described


def needs_of(endpoint: str | None) -> Needs:
    """Who may use what is served there: whoever controls, unless it says otherwise."""
    found: Needs = getattr(current_app.view_functions.get(endpoint or ""), "needs", "controls")
    return found


def parts() -> Parts:
    """Parts of the running application."""
    found: Parts = current_app.extensions["tapetum"]
    return found


def session() -> Session:
    """Session of the request; there is one wherever an operation needs any role."""
    found: Session = g.session
    return found


def ask(kind: type[A], asked: object) -> A:
    """The imager's answer."""
    return parts().device.ask_for(kind, asked)
