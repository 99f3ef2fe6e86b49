"""The interface under /api/v1/ to the growing curves: asked for once by a page that comes, or comes back."""

from apiflask import APIBlueprint, Schema
from apiflask.fields import Integer
from apiflask.validators import Range

from shared.protocol.curves import Curves, GetCurves
from web_ui.operation import ask, operation
from web_ui.schemas import schema_of

curves_api = APIBlueprint("curves", __name__, url_prefix="/api/v1", tag="curves")


class After(Schema):
    """Which points."""

    after_ms = Integer(load_default=-1, validate=Range(-1, 2**53), metadata={"description": "later than this"})


@curves_api.get("/curves")
@curves_api.input(After, location="query", arg_name="asked")
@curves_api.output(schema_of(Curves, answer=True))
@operation(curves_api, "How the signals of reference and regions went", "watches")
def get_curves(asked: dict[str, int]) -> Curves:
    """From the first light on, at most five points a second; ask again after the last time while there are more."""
    return ask(Curves, GetCurves(asked["after_ms"]))
