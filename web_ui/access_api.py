"""The part of the interface that says who may do what: pairing, control changing hands, and the list of paired tablets."""

import secrets
from dataclasses import dataclass
from hashlib import sha256
from typing import Annotated, Literal

import segno
from apiflask import APIBlueprint, FileSchema
from flask import Response, make_response, request

from shared.bounded import Length, plain
from shared.errors import Refused
from shared.protocol.control import PressAwaited
from web_ui.access import Tablet, tablet
from web_ui.operation import NoSuchThing, Watches, operation, parts, session
from web_ui.pairing import INVITATION_S
from web_ui.roles import Role
from web_ui.schemas import schema_of
from web_ui.sessions import COOKIE, LONGEST_S, Session, Way, new_label

ASKING = "tapetum_asking"
_ASKING_S = 60

access_api = APIBlueprint("access", __name__, url_prefix="/api/v1", tag="access")


@dataclass(frozen=True)
class Pair:
    """The word that the device shows, or the secret of an invitation."""

    word: Annotated[str, Length(1, 100)]


@dataclass(frozen=True)
class Paired:
    """From now on the cookie speaks for this browser."""

    paired: bool


@dataclass(frozen=True)
class ButtonAsked:
    """How the asking for the handheld's button stands; ``label`` is what the page shows, ``line`` why it ended."""

    state: Literal["waiting", "paired", "ended"]
    label: str
    seconds_left: float
    line: str


@dataclass(frozen=True)
class Standing:
    """Who this browser is, and who may do what."""

    you: Tablet
    role: Role
    controller: Tablet | None
    controller_here: bool
    asker: Tablet | None
    waiting_for_button: str | None


@dataclass(frozen=True)
class ControlAsked:
    """How the asking for control stands; ``line`` says it for people."""

    state: Literal["controls", "asked", "busy", "press", "refused", "ended"]
    line: str


@dataclass(frozen=True)
class Consent:
    """The controller's answer to the session that asks."""

    number: Annotated[str, Length(1, 40)]
    give: bool


@dataclass(frozen=True)
class PairedTablet:
    """One line of the list."""

    number: str
    label: str
    way: Way
    role: Role
    here: bool
    paired_s: float
    silent_s: float


@dataclass(frozen=True)
class PairedTablets:
    """All of them, the oldest first."""

    tablets: tuple[PairedTablet, ...]


@dataclass(frozen=True)
class Invitation:
    """An address that pairs one tablet, once, and the same as a picture (QR code, as a data address)."""

    url: str
    picture: str
    seconds: float


def _with_session(answer: object, token: str | None) -> Response:
    response = make_response(plain(answer))
    if token is not None:
        response.set_cookie(
            COOKIE, token, max_age=LONGEST_S, httponly=True, samesite="Strict", secure=request.is_secure, path="/"
        )
    return response


@access_api.post("/pair")
@access_api.input(schema_of(Pair), arg_name="pair")
@access_api.output(schema_of(Paired, answer=True))
@operation(access_api, "Pair this browser by the word on the device, or by an invitation", "nothing")
def pair_browser(pair: Pair) -> Response:
    """Exchange it for a session cookie. A browser that is paired already keeps its session."""
    access = parts().access
    known = access.sessions.of(request.cookies.get(COOKIE))
    found, token = access.pairing.pair(pair.word, request.remote_addr or "", known)
    access.roles.welcome(found)
    return _with_session(Paired(True), token)


@access_api.post("/pair/button")
@access_api.output(schema_of(ButtonAsked, answer=True))
@operation(
    access_api, "Pair this browser by the handheld's button: asks, and asked again says how it stands", "nothing"
)
def pair_by_button() -> Response:
    """Whoever holds the handheld has half a minute for one short press."""
    access = parts().access
    claim = request.cookies.get(ASKING)
    known = access.button.look(_key(claim)) if claim else None
    if known is None:
        access.pairing.admit_asker(request.remote_addr or "")
        claim, label = secrets.token_urlsafe(16), new_label({one.label for one in access.sessions.all()})
        awaited = access.button.begin(_key(claim), label)
        response = make_response(plain(ButtonAsked("waiting", label, awaited.seconds_left, "")))
        response.set_cookie(
            ASKING, claim, max_age=_ASKING_S, httponly=True, samesite="Strict", secure=request.is_secure, path="/api/v1"
        )
        return response
    waiting, awaited = known
    if awaited.state == "waiting":
        return make_response(plain(ButtonAsked("waiting", waiting.label, awaited.seconds_left, "")))
    token = None
    if awaited.state == "pressed":
        found, token = access.sessions.open("button", waiting.label)
        access.roles.welcome(found)
    state: Literal["paired", "ended"] = "paired" if token is not None else "ended"
    response = _with_session(ButtonAsked(state, waiting.label, 0.0, awaited.reason), token)
    response.delete_cookie(ASKING, path="/api/v1")
    return response


@access_api.delete("/pair/button")
@access_api.output(schema_of(Standing, answer=True))
@operation(access_api, "Refuse whoever waits for the button")
def refuse_button() -> Standing:
    """The next short press means again what it always means."""
    parts().access.button.drop()
    return _standing()


@access_api.get("/access")
@access_api.output(schema_of(Standing, answer=True))
@operation(access_api, "Who this browser is, and who may do what", "watches")
def get_access() -> Standing:
    """Numbers and labels are no secrets."""
    return _standing()


def _standing() -> Standing:
    access, own = parts().access, session()
    state = access.state()
    return Standing(
        Tablet(own.number, own.label),
        access.role(own),
        state.controller,
        state.controller_here,
        state.asker,
        state.waiting_for_button,
    )


@access_api.post("/control")
@access_api.output(schema_of(ControlAsked, answer=True))
@operation(access_api, "Ask for control; asked again says how it stands", "watches")
def ask_for_control() -> ControlAsked:
    """The controller consents; where no controller is here, the handheld's button does."""
    access, own = parts().access, session()
    controller = tablet(access.sessions.controller)
    match access.roles.ask(own):
        case "controls":
            access.hand_over.settle()
            return ControlAsked("controls", "You control.")
        case "asked":
            return ControlAsked("asked", f"Asked. The tablet {controller.label if controller else ''} has to agree.")
        case "busy":
            return ControlAsked("busy", "Another tablet asks for control; try again in a moment.")
        case "refused":
            return ControlAsked("refused", "The tablet that controls said no.")
        case "vacant":
            return _ask_button(own)


def _ask_button(own: Session) -> ControlAsked:
    access = parts().access
    known = access.button.look(own.number)
    if known is None:
        access.pairing.admit_asker(request.remote_addr or "")
        known_state: PressAwaited = access.button.begin(own.number, own.label)
    else:
        known_state = known[1]
    if known_state.state == "waiting":
        return ControlAsked(
            "press", "Nobody is at the tablet that controls. Press the button on the handheld, briefly."
        )
    if known_state.state == "ended":
        return ControlAsked("ended", f"Control stays where it is: {known_state.reason}.")
    access.roles.take(own)
    access.hand_over.settle()
    return ControlAsked("controls", "You control.")


@access_api.post("/control/consent")
@access_api.input(schema_of(Consent), arg_name="consent")
@access_api.output(schema_of(Standing, answer=True))
@operation(access_api, "Answer the tablet that asks for control")
def answer_asker(consent: Consent) -> Standing:
    """With a yes, this browser watches from now on, and the light it asked for ends."""
    access = parts().access
    if not access.roles.answer(consent.number, consent.give):
        raise Refused("that tablet asks for control no more", consent.number, "wait until it asks again")
    access.hand_over.settle()
    return _standing()


@access_api.get("/pairings")
@access_api.output(schema_of(PairedTablets, answer=True))
@operation(access_api, "The paired tablets")
def list_pairings() -> PairedTablets:
    """With how they were paired, and whether someone is there."""
    access = parts().access
    return PairedTablets(
        tuple(
            PairedTablet(
                one.number,
                one.label,
                one.way,
                access.role(one),
                access.roles.here(one),
                access.sessions.age_s(one),
                access.sessions.silent_s(one),
            )
            for one in access.sessions.all()
        )
    )


@access_api.delete("/pairings")
@access_api.output(schema_of(Paired, answer=True))
@operation(access_api, "Unpair every tablet, this one too")
def revoke_all() -> Paired:
    """Whoever is to look again has to pair again."""
    access = parts().access
    for one in access.sessions.all():
        access.sessions.end(one.number)
    return Paired(False)


@access_api.delete("/pairings/<number>")
@access_api.output(schema_of(Paired, answer=True))
@operation(access_api, "Unpair a tablet; whoever watches can unpair itself", "watches")
def revoke(number: str) -> Paired:
    """By its number. ``paired`` says whether this browser still is."""
    access, own = parts().access, session()
    if number != own.number and access.role(own) != "controls":
        raise Watches("this tablet watches, and can unpair only itself; ask for control first")
    if not access.sessions.end(number):
        raise NoSuchThing("no tablet of that number is paired; look at the list again")
    return Paired(number != own.number)


@access_api.post("/invitations")
@access_api.output(schema_of(Invitation, answer=True), status_code=201)
@operation(access_api, "Invite one more tablet to watch")
def invite() -> Invitation:
    """Good once, for two minutes; a new invitation ends the one before."""
    url = f"{request.scheme}://{request.host}/#pair={parts().access.pairing.invite(session())}"
    picture = segno.make(url, error="m", micro=False).svg_data_uri(scale=8, border=4, light="#fff")
    return Invitation(url, picture, INVITATION_S)


@access_api.get("/certificate.pem")
@access_api.output(FileSchema(), content_type="application/x-x509-ca-cert")
@operation(
    access_api, "The certificate that a tablet is to trust; compare its fingerprint with the device's", "nothing"
)
def get_certificate() -> Response:
    """X.509, PEM. No secret."""
    certificate = parts().certificate
    if certificate is None:
        raise NoSuchThing("this page is served without encryption, on this machine only; there is nothing to trust")
    return Response(certificate, mimetype="application/x-x509-ca-cert")


def _key(claim: str) -> str:
    return sha256(claim.encode(errors="surrogatepass")).hexdigest()
