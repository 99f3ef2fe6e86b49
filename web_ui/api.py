"""The interface under /api/v1/: each operation is one request to the imager, or one file."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, TypeVar

from apiflask import APIBlueprint, FileSchema
from flask import Response, current_app, make_response, request, send_file

from shared.bounded import Length
from shared.errors import Refused
from shared.protocol.control import (
    AddNote,
    ChooseExposure,
    ExportJob,
    ExposureChosen,
    GetState,
    Light,
    ListRecordings,
    MarkInjection,
    PutRegion,
    Record,
    Recordings,
    RemoveRegion,
    SetContours,
    SetExposure,
    SetReference,
    SetView,
    StartExport,
    State,
    Taken,
    TakeStill,
)
from web_ui.device_link import DeviceLink
from web_ui.newest_picture import NewestPicture
from web_ui.pairing import COOKIE, SESSION_S, Pairing
from web_ui.schemas import schema_of

A = TypeVar("A")
F = TypeVar("F", bound=Callable[..., object])

_STILL_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}")

api = APIBlueprint("api", __name__, url_prefix="/api/v1", tag="tapetum")


@dataclass(frozen=True)
class Parts:
    """What the operations work with; kept by the application."""

    device: DeviceLink
    pairing: Pairing
    pictures: NewestPicture
    data_folder: Path


@dataclass(frozen=True)
class Pair:
    """The word that the device shows."""

    word: Annotated[str, Length(1, 100)]


@dataclass(frozen=True)
class Paired:
    """From now on the cookie speaks for this browser."""

    paired: bool


class NoSuchThing(Exception):
    """Asked for by name, and not there; its text is the line to show."""


STATE = schema_of(State, answer=True)

_PROBLEMS = {
    400: "Refused; the line says what, which value and what to do",
    401: "This browser is not paired",
    403: "The request comes from another site's page",
    500: "The device failed; its log says why",
    503: "The imager does not answer",
}


def _operation(summary: str) -> Callable[[F], F]:
    return api.doc(summary=summary, responses=_PROBLEMS, security="session")


def parts() -> Parts:
    """Parts of the running application."""
    found: Parts = current_app.extensions["tapetum"]
    return found


def _ask(kind: type[A], asked: object) -> A:
    return parts().device.ask_for(kind, asked)


@api.post("/pair")
@api.input(schema_of(Pair), arg_name="pair")
@api.output(schema_of(Paired, answer=True))
@api.doc(
    summary="Pair this browser by the word on the device", responses={**_PROBLEMS, 429: "Too many tries; wait a little"}
)
def pair_browser(pair: Pair) -> Response:
    """Exchange the word for a session cookie."""
    value = parts().pairing.pair(pair.word, request.remote_addr or "")
    response = make_response({"paired": True})
    response.set_cookie(
        COOKIE, value, max_age=SESSION_S, httponly=True, samesite="Strict", secure=request.is_secure, path="/"
    )
    return response


@api.post("/exports")
@api.input(schema_of(StartExport), arg_name="asked")
@api.output(schema_of(ExportJob, answer=True), status_code=202)
@_operation("Write a recording for other software")
def start_export(asked: StartExport) -> ExportJob:
    """How far it is stands in the state."""
    return _ask(ExportJob, asked)


@api.get("/state")
@api.output(STATE)
@_operation("Everything the page shows")
def get_state() -> State:
    """Camera, light, values, recording, exports."""
    return _ask(State, GetState())


@api.put("/view")
@api.input(schema_of(SetView), arg_name="asked")
@api.output(STATE)
@_operation("Choose the live view")
def set_view(asked: SetView) -> State:
    """For everyone who looks."""
    return _ask(State, asked)


@api.put("/contours")
@api.input(schema_of(SetContours), arg_name="asked")
@api.output(STATE)
@_operation("Choose the contours")
def set_contours(asked: SetContours) -> State:
    """In percent of the reference, rising."""
    return _ask(State, asked)


@api.put("/reference")
@api.input(schema_of(SetReference), arg_name="asked")
@api.output(STATE)
@_operation("Choose the reference region")
def set_reference(asked: SetReference) -> State:
    """Its mean counts as 100 %."""
    return _ask(State, asked)


@api.delete("/reference")
@api.output(STATE)
@_operation("Take the reference away")
def remove_reference() -> State:
    """Relative values are unknown until another is chosen."""
    return _ask(State, SetReference(None))


@api.put("/regions")
@api.input(schema_of(PutRegion), arg_name="asked")
@api.output(STATE)
@_operation("Add a region, or replace the one of the same name")
def put_region(asked: PutRegion) -> State:
    """Written as on the command line."""
    return _ask(State, asked)


@api.delete("/regions/<name>")
@api.output(STATE)
@_operation("Take a region away")
def remove_region(name: str) -> State:
    """By name."""
    if len(name) > 40:
        raise Refused("no region has so long a name", name, "names have at most 40 characters")
    return _ask(State, RemoveRegion(name))


@api.post("/light")
@api.input(schema_of(Light), arg_name="asked")
@api.output(STATE)
@_operation("Operate the ring")
def light(asked: Light) -> State:
    """Asking for light is not getting it: the state says whether it is lit."""
    return _ask(State, asked)


@api.put("/exposure")
@api.input(schema_of(SetExposure), arg_name="asked")
@api.output(STATE)
@_operation("Set exposure and gain")
def set_exposure(asked: SetExposure) -> State:
    """Refused while a recording runs."""
    return _ask(State, asked)


@api.post("/exposure/choice")
@api.input(schema_of(ChooseExposure), arg_name="asked")
@api.output(schema_of(ExposureChosen, answer=True))
@_operation("Choose exposure, gain and light level by what the camera sees")
def choose_exposure(asked: ChooseExposure) -> ExposureChosen:
    """Before a run, with the light on; with apply they are set as well."""
    return _ask(ExposureChosen, asked)


@api.post("/recording")
@api.input(schema_of(Record), arg_name="asked")
@api.output(STATE)
@_operation("Start or stop a recording")
def record(asked: Record) -> State:
    """The case is a code, never a name."""
    return _ask(State, asked)


@api.post("/injection")
@api.input(schema_of(MarkInjection), arg_name="asked")
@api.output(STATE)
@_operation("Dye goes in now, or did not")
def mark_injection(asked: MarkInjection) -> State:
    """Starts the clock; undo takes it back."""
    return _ask(State, asked)


@api.post("/notes")
@api.input(schema_of(AddNote), arg_name="asked")
@api.output(STATE)
@_operation("Keep words at this moment")
def add_note(asked: AddNote) -> State:
    """In the recording that runs."""
    return _ask(State, asked)


@api.post("/stills")
@api.output(schema_of(Taken, answer=True), status_code=201)
@_operation("Keep the picture as shown")
def take_still() -> Taken:
    """As PNG with its legend."""
    return _ask(Taken, TakeStill())


@api.get("/stills/<name>")
@api.output(FileSchema(), content_type="image/png")
@_operation("A still that was kept")
def get_still(name: str) -> Response:
    """PNG file."""
    if not _STILL_NAME.fullmatch(name):
        raise Refused("not a name of a still", name, "use a name that a still was given")
    folder = parts().data_folder / "stills"
    path = folder / f"{name.removesuffix('.png')}.png"
    if path.is_symlink() or not path.is_file():
        raise NoSuchThing(f"no such still: {name}; it may have been removed")
    return send_file(path.resolve(), mimetype="image/png", conditional=True, max_age=0)


@api.get("/recordings")
@api.output(schema_of(Recordings, answer=True))
@_operation("The recordings, newest first")
def list_recordings() -> Recordings:
    """One line each."""
    return _ask(Recordings, ListRecordings())


@api.get("/picture.jpg")
@api.output(FileSchema(), content_type="image/jpeg")
@_operation("The newest picture, however old: X-Age-Ms says how old")
def get_picture() -> Response:
    """For whoever cannot take the stream."""
    newest = parts().pictures.look()
    response = Response(newest.jpeg, mimetype="image/jpeg")
    response.headers["X-Age-Ms"] = str(newest.age_ms)
    response.headers["X-Sequence"] = str(newest.sequence)
    return response
