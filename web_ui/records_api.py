"""The part of the interface for cases and kept recordings: the list, the open case, what is removed and comes back."""

from typing import Any

from apiflask import APIBlueprint, Schema
from apiflask.fields import Integer, String
from apiflask.validators import Length, Range

from shared.errors import Refused
from shared.protocol.control import ListRecordings, Recordings, State
from shared.protocol.records import (
    MOST_AT_ONCE,
    Cases,
    ChangeCase,
    ForgetRemoved,
    Kept,
    ListCases,
    ListRemoved,
    OpenCase,
    RemovedRecording,
    RemovedRecordings,
    RemoveRecording,
    RestoreRecording,
)
from web_ui.operation import ask, operation
from web_ui.schemas import schema_of

records_api = APIBlueprint("records", __name__, url_prefix="/api/v1", tag="records")

LONGEST_NAME = 120


class WhichRecordings(Schema):
    """Which part of the list."""

    after = String(load_default="", validate=Length(0, 200), metadata={"description": "an earlier answer's next"})
    limit = Integer(load_default=None, validate=Range(1, MOST_AT_ONCE), metadata={"description": "without it, all"})
    case = String(
        load_default=None, validate=Length(0, 40), metadata={"description": "a whole code; empty: those without"}
    )
    text = String(load_default="", validate=Length(0, 120), metadata={"description": "any part of case or name"})
    from_at = String(load_default="", validate=Length(0, 40), metadata={"description": "UTC in ISO 8601"})
    until_at = String(load_default="", validate=Length(0, 40), metadata={"description": "UTC in ISO 8601"})


class WhichCases(Schema):
    """Which part of the list."""

    text = String(load_default="", validate=Length(0, 40), metadata={"description": "any part of the code"})
    after = String(load_default="", validate=Length(0, 200), metadata={"description": "an earlier answer's next"})
    limit = Integer(load_default=50, validate=Range(1, MOST_AT_ONCE))


def checked_length(name: str) -> str:
    """The name itself; raises Refused where it is longer than any recording's."""
    if len(name) > LONGEST_NAME:
        raise Refused("no recording has so long a name", name, f"names have at most {LONGEST_NAME} characters")
    return name


@records_api.get("/recordings")
@records_api.input(WhichRecordings, location="query", arg_name="asked")
@records_api.output(schema_of(Recordings, answer=True))
@operation(records_api, "The recordings, newest first", "watches")
def list_recordings(asked: dict[str, Any]) -> Recordings:
    """One line each."""
    return ask(Recordings, ListRecordings(**asked))


@records_api.get("/cases")
@records_api.input(WhichCases, location="query", arg_name="asked")
@records_api.output(schema_of(Cases, answer=True))
@operation(records_api, "The cases that have recordings, the newest first", "watches")
def list_cases(asked: dict[str, Any]) -> Cases:
    """A case is a code, never a name."""
    return ask(Cases, ListCases(**asked))


@records_api.put("/case")
@records_api.input(schema_of(OpenCase), arg_name="asked")
@records_api.output(schema_of(State, answer=True))
@operation(records_api, "Open a case: every recording from now on is of it")
def open_case(asked: OpenCase) -> State:
    """Refused while a recording runs."""
    return ask(State, asked)


class CaseOfOne(Schema):
    """The case that a recording belongs to."""

    case = String(required=True, validate=Length(0, 40))


@records_api.put("/recordings/<name>/case")
@records_api.input(CaseOfOne, arg_name="asked")
@records_api.output(schema_of(Kept, answer=True))
@operation(records_api, "Put a recording under another case")
def change_case(name: str, asked: dict[str, str]) -> Kept:
    """Its name changes with the case; the answer says how it is called now."""
    return ask(Kept, ChangeCase(checked_length(name), asked["case"]))


@records_api.delete("/recordings/<name>")
@records_api.output(schema_of(RemovedRecording, answer=True))
@operation(records_api, "Remove a recording; it can be put back while there is room")
def remove_recording(name: str) -> RemovedRecording:
    """Refused while it is recorded, exported or worked on."""
    return ask(RemovedRecording, RemoveRecording(checked_length(name)))


@records_api.get("/removed")
@records_api.output(schema_of(RemovedRecordings, answer=True))
@operation(records_api, "Removed recordings that can be put back", "watches")
def list_removed() -> RemovedRecordings:
    """The newest removed first."""
    return ask(RemovedRecordings, ListRemoved())


@records_api.delete("/removed")
@records_api.output(schema_of(RemovedRecordings, answer=True))
@operation(records_api, "Delete every removed recording for good")
def forget_removed() -> RemovedRecordings:
    """Nothing brings them back."""
    return ask(RemovedRecordings, ForgetRemoved())


@records_api.post("/removed/<name>/restore")
@records_api.output(schema_of(Kept, answer=True))
@operation(records_api, "Put a removed recording back")
def restore_recording(name: str) -> Kept:
    """The answer says under which name."""
    if len(name) > LONGEST_NAME + 40:
        raise Refused("nothing removed has so long a name", name, "choose one from the list")
    return ask(Kept, RestoreRecording(name))
