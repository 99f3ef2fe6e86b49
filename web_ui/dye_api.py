"""The part of the interface for the dye record of a case. Advice to look things up by, never a prescription."""

from apiflask import APIBlueprint, Schema
from apiflask.fields import Float
from apiflask.validators import Range

from shared.errors import Refused
from shared.protocol.records import DyeOfCase, EnterBodyMass, EnterDose, GetDye, UndoDye, UndoMark
from web_ui.operation import ask, operation
from web_ui.schemas import schema_of

dye_api = APIBlueprint("dye", __name__, url_prefix="/api/v1/dye/<name>", tag="dye")

DYE = schema_of(DyeOfCase, answer=True)


class Dose(Schema):
    """Dye that was given."""

    dose_mg = Float(required=True, validate=Range(0.01, 500))
    minutes_ago = Float(load_default=0.0, validate=Range(0, 10_080))


class BodyMass(Schema):
    """For the label's limit."""

    body_mass_kg = Float(required=True, validate=Range(1, 400))


def _case(name: str) -> str:
    if not 1 <= len(name) <= 40:
        raise Refused("not a case code", name, "codes have 1 to 40 characters")
    return name


@dye_api.get("")
@dye_api.output(DYE)
@operation(dye_api, "Dye of a case so far, beside the label's limit", "watches")
def get_dye(name: str) -> DyeOfCase:
    """From what was entered and from the marks in its recordings."""
    return ask(DyeOfCase, GetDye(_case(name)))


@dye_api.post("/doses")
@dye_api.input(Dose, arg_name="asked")
@dye_api.output(DYE)
@operation(dye_api, "Enter dye that was given")
def enter_dose(name: str, asked: dict[str, float]) -> DyeOfCase:
    """In milligrams."""
    return ask(DyeOfCase, EnterDose(_case(name), **asked))


@dye_api.put("/body-mass")
@dye_api.input(BodyMass, arg_name="asked")
@dye_api.output(DYE)
@operation(dye_api, "Enter the body mass, for the label's limit")
def enter_body_mass(name: str, asked: dict[str, float]) -> DyeOfCase:
    """The newest counts."""
    return ask(DyeOfCase, EnterBodyMass(_case(name), **asked))


@dye_api.delete("/entries/<number>")
@dye_api.output(DYE)
@operation(dye_api, "Take an entry back by a further one")
def undo_entry(name: str, number: str) -> DyeOfCase:
    """Nothing is ever rewritten."""
    if not (number.isascii() and number.isdigit() and 1 <= int(number[:8]) <= 1_000_000 and len(number) <= 8):
        raise Refused("no entry has this number", number, "use the number of a line")
    return ask(DyeOfCase, UndoDye(_case(name), int(number)))


@dye_api.delete("/marks/<at>")
@dye_api.output(DYE)
@operation(dye_api, "Take back an injection that a recording marks, by a further entry")
def undo_mark(name: str, at: str) -> DyeOfCase:
    """The recording keeps its mark."""
    return ask(DyeOfCase, UndoMark(_case(name), at))
