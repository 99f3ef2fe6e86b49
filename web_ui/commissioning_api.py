"""The part of the interface for commissioning and the check before a case: walks, results to be decided on, papers."""

import re
from typing import Any

from apiflask import APIBlueprint, FileSchema, Schema
from apiflask.fields import Boolean, String
from apiflask.validators import Length
from flask import Response, send_file

from shared.errors import Refused
from shared.protocol.commissioning import (
    Commissioning,
    Curve,
    GetCommissioning,
    GetCurve,
    MakePaper,
    PutInForce,
    SettleProposal,
    StartWalk,
    StopWalk,
    UseCalibration,
    UseFormerLight,
    WatchWalk,
)
from shared.protocol.control import State
from web_ui.operation import NoSuchThing, ask, operation, parts
from web_ui.schemas import schema_of

_PAPER = re.compile(r"(certificate|target-a4|target-letter)\.pdf")
_STEPS = ("dark", "defects", "flat", "gain", "light", "scale", "sharpness", "leakage", "sensitivity")

commissioning_api = APIBlueprint("commissioning", __name__, url_prefix="/api/v1/commissioning", tag="commissioning")

COMMISSIONING = schema_of(Commissioning, answer=True)
STATE = schema_of(State, answer=True)


class CurveOf(Schema):
    """Of which calibration."""

    of = String(
        load_default="", validate=Length(0, 60), metadata={"description": "name of a calibration; empty: the newest"}
    )
    proposed = Boolean(load_default=False, metadata={"description": "of the result that waits to be decided on"})


@commissioning_api.get("")
@commissioning_api.output(COMMISSIONING)
@operation(commissioning_api, "What is calibrated, since when, and what waits", "watches")
def get_commissioning() -> Commissioning:
    """Steps, calibrations and checks that are kept; how a walk goes is in the state."""
    return ask(Commissioning, GetCommissioning())


@commissioning_api.get("/curves/<step>")
@commissioning_api.input(CurveOf, location="query", arg_name="asked")
@commissioning_api.output(schema_of(Curve, answer=True))
@operation(commissioning_api, "What a step was read from, as numbers to be drawn", "watches")
def get_curve(step: str, asked: dict[str, Any]) -> Curve:
    """Empty where nothing was kept."""
    found = next((one for one in _STEPS if one == step), None)
    if found is None:
        raise NoSuchThing(f"no such step; there are {', '.join(_STEPS)}")
    return ask(Curve, GetCurve(found, asked["of"], asked["proposed"]))  # type: ignore[arg-type]


@commissioning_api.post("/walk")
@commissioning_api.input(schema_of(StartWalk), arg_name="asked")
@commissioning_api.output(STATE, status_code=202)
@operation(commissioning_api, "Begin the check before a case, or a step: the ring lights in all but the dark step")
def start_walk(asked: StartWalk) -> State:
    """Target in place, everyone near warned. It goes on only while it is told every few seconds that someone watches."""
    return ask(State, asked)


@commissioning_api.put("/walk")
@commissioning_api.output(STATE)
@operation(commissioning_api, "Someone still watches the walk")
def watch_walk() -> State:
    """At least every few seconds, or it ends, the light first."""
    return ask(State, WatchWalk())


@commissioning_api.delete("/walk")
@commissioning_api.output(STATE)
@operation(commissioning_api, "Stop the walk: the light goes off at once")
def stop_walk() -> State:
    """Nothing of it is kept."""
    return ask(State, StopWalk())


@commissioning_api.post("/proposal")
@commissioning_api.input(schema_of(SettleProposal), arg_name="asked")
@commissioning_api.output(COMMISSIONING)
@operation(commissioning_api, "Keep what the last step measured, or discard it")
def settle_proposal(asked: SettleProposal) -> Commissioning:
    """Kept, it is the newest calibration; in force once it was put there."""
    return ask(Commissioning, asked)


@commissioning_api.post("/use")
@commissioning_api.input(schema_of(UseCalibration), arg_name="asked")
@commissioning_api.output(COMMISSIONING)
@operation(commissioning_api, "Take an older calibration up again")
def use_calibration(asked: UseCalibration) -> Commissioning:
    """It is kept once more, newly dated; nothing is lost."""
    return ask(Commissioning, asked)


@commissioning_api.post("/use-former-light")
@commissioning_api.output(COMMISSIONING)
@operation(commissioning_api, "Take the light output measured before the newest up again")
def use_former_light() -> Commissioning:
    """It is kept once more, newly dated; nothing is lost."""
    return ask(Commissioning, UseFormerLight())


@commissioning_api.post("/in-force")
@commissioning_api.output(STATE)
@operation(commissioning_api, "Start the imager again, so that the newest calibration is in force")
def put_in_force() -> State:
    """The picture is gone for some seconds. Refused while the device is in use."""
    return ask(State, PutInForce())


@commissioning_api.post("/papers")
@commissioning_api.input(schema_of(MakePaper), arg_name="asked")
@commissioning_api.output(COMMISSIONING, status_code=202)
@operation(commissioning_api, "Write a certificate, or printable targets, as PDF")
def make_paper(asked: MakePaper) -> Commissioning:
    """It is there once the answer names its file."""
    return ask(Commissioning, asked)


@commissioning_api.get("/papers/<name>")
@commissioning_api.output(FileSchema(), content_type="application/pdf")
@operation(commissioning_api, "A paper that was written", "watches")
def get_paper(name: str) -> Response:
    """PDF file."""
    if not _PAPER.fullmatch(name):
        raise Refused("not a name of a paper", name[:80], "use the name that a paper was given")
    path = parts().data_folder / "papers" / name
    if path.is_symlink() or not path.is_file():
        raise NoSuchThing(f"no such paper: {name}; have it written first")
    return send_file(path.resolve(), mimetype="application/pdf", conditional=True, max_age=0, download_name=name)
