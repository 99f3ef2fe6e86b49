"""The interface under /api/v1/ to the device: each operation is one request to the imager, or one file."""

import re

from apiflask import APIBlueprint, FileSchema
from flask import Response, send_file

from shared.errors import Refused
from shared.protocol.commissioning import StopWalk
from shared.protocol.control import (
    AddNote,
    ChooseExposure,
    ExposureChosen,
    GetState,
    Light,
    MarkInjection,
    PutRegion,
    Record,
    RemoveRegion,
    SetContours,
    SetExposure,
    SetReference,
    SetView,
    State,
    Taken,
    TakeStill,
)
from web_ui.operation import NoSuchThing, ask, operation, parts
from web_ui.schemas import schema_of

_STILL_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}")

api = APIBlueprint("api", __name__, url_prefix="/api/v1", tag="device")

STATE = schema_of(State, answer=True)


@api.get("/state")
@api.output(STATE)
@operation(api, "Everything the page shows", "watches")
def get_state() -> State:
    """Camera, light, values, recording, exports."""
    return ask(State, GetState())


@api.put("/view")
@api.input(schema_of(SetView), arg_name="asked")
@api.output(STATE)
@operation(api, "Choose the live view")
def set_view(asked: SetView) -> State:
    """For everyone who looks."""
    return ask(State, asked)


@api.put("/contours")
@api.input(schema_of(SetContours), arg_name="asked")
@api.output(STATE)
@operation(api, "Choose the contours")
def set_contours(asked: SetContours) -> State:
    """In percent of the reference, rising."""
    return ask(State, asked)


@api.put("/reference")
@api.input(schema_of(SetReference), arg_name="asked")
@api.output(STATE)
@operation(api, "Choose the reference region")
def set_reference(asked: SetReference) -> State:
    """Its mean counts as 100 %."""
    return ask(State, asked)


@api.delete("/reference")
@api.output(STATE)
@operation(api, "Take the reference away")
def remove_reference() -> State:
    """Relative values are unknown until another is chosen."""
    return ask(State, SetReference(None))


@api.put("/regions")
@api.input(schema_of(PutRegion), arg_name="asked")
@api.output(STATE)
@operation(api, "Add a region, or replace the one of the same name")
def put_region(asked: PutRegion) -> State:
    """Written as on the command line."""
    return ask(State, asked)


@api.delete("/regions/<name>")
@api.output(STATE)
@operation(api, "Take a region away")
def remove_region(name: str) -> State:
    """By name."""
    if len(name) > 40:
        raise Refused("no region has so long a name", name, "names have at most 40 characters")
    return ask(State, RemoveRegion(name))


@api.post("/light")
@api.input(schema_of(Light), arg_name="asked")
@api.output(STATE)
@operation(api, "Operate the ring")
def light(asked: Light) -> State:
    """Asking for light is not getting it: the state says whether it is lit. Off also ends a walk of commissioning."""
    if asked.act == "off":
        ask(State, StopWalk())
    return ask(State, asked)


@api.put("/exposure")
@api.input(schema_of(SetExposure), arg_name="asked")
@api.output(STATE)
@operation(api, "Set exposure and gain")
def set_exposure(asked: SetExposure) -> State:
    """Refused while a recording runs."""
    return ask(State, asked)


@api.post("/exposure/choice")
@api.input(schema_of(ChooseExposure), arg_name="asked")
@api.output(schema_of(ExposureChosen, answer=True))
@operation(api, "Choose exposure, gain and light level by what the camera sees")
def choose_exposure(asked: ChooseExposure) -> ExposureChosen:
    """Before a run, with the light on; with apply they are set as well."""
    return ask(ExposureChosen, asked)


@api.post("/recording")
@api.input(schema_of(Record), arg_name="asked")
@api.output(STATE)
@operation(api, "Start or stop a recording")
def record(asked: Record) -> State:
    """The case is a code, never a name."""
    return ask(State, asked)


@api.post("/injection")
@api.input(schema_of(MarkInjection), arg_name="asked")
@api.output(STATE)
@operation(api, "Dye goes in now, or did not")
def mark_injection(asked: MarkInjection) -> State:
    """Starts the clock; undo takes it back."""
    return ask(State, asked)


@api.post("/notes")
@api.input(schema_of(AddNote), arg_name="asked")
@api.output(STATE)
@operation(api, "Keep words at this moment")
def add_note(asked: AddNote) -> State:
    """In the recording that runs."""
    return ask(State, asked)


@api.post("/stills")
@api.input(schema_of(TakeStill), arg_name="asked")
@api.output(schema_of(Taken, answer=True), status_code=201)
@operation(api, "Keep the picture as shown")
def take_still(asked: TakeStill) -> Taken:
    """As PNG with its legend."""
    return ask(Taken, asked)


@api.get("/stills/<name>")
@api.output(FileSchema(), content_type="image/png")
@operation(api, "A still that was kept", "watches")
def get_still(name: str) -> Response:
    """PNG file."""
    if not _STILL_NAME.fullmatch(name):
        raise Refused("not a name of a still", name, "use a name that a still was given")
    folder = parts().data_folder / "stills"
    path = folder / f"{name.removesuffix('.png')}.png"
    if path.is_symlink() or not path.is_file():
        raise NoSuchThing(f"no such still: {name}; it may have been removed")
    return send_file(path.resolve(), mimetype="image/png", conditional=True, max_age=0)
