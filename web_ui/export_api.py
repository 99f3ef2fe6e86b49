"""The part of the interface for files that other software opens."""

from typing import Any

from apiflask import APIBlueprint, Schema
from apiflask.fields import List, String
from apiflask.validators import Length

from shared.protocol.control import State
from shared.protocol.exporting import EstimateExport, ExportEstimate, ExportJob, StartExport, StopExport
from web_ui.operation import ask, operation
from web_ui.schemas import schema_of

export_api = APIBlueprint("export", __name__, url_prefix="/api/v1/exports", tag="export")


class WhatToExport(Schema):
    """Which recordings; the name may be repeated."""

    recording = List(String(validate=Length(1, 120)), required=True, validate=Length(1, 100))


@export_api.post("")
@export_api.input(schema_of(StartExport), arg_name="asked")
@export_api.output(schema_of(ExportJob, answer=True), status_code=202)
@operation(export_api, "Write recordings for other software")
def start_export(asked: StartExport) -> ExportJob:
    """How far it is stands in the state."""
    return ask(ExportJob, asked)


@export_api.delete("/running")
@export_api.output(schema_of(State, answer=True))
@operation(export_api, "Stop the export that runs")
def stop_export() -> State:
    """Recordings that were written whole stay; of the one being written nothing does."""
    return ask(State, StopExport())


@export_api.get("/estimate")
@export_api.input(WhatToExport, location="query", arg_name="asked")
@export_api.output(schema_of(ExportEstimate, answer=True))
@operation(export_api, "How large an export becomes, and the drives there are", "watches")
def estimate(asked: dict[str, Any]) -> ExportEstimate:
    """Rather more than it takes."""
    return ask(ExportEstimate, EstimateExport(tuple(asked["recording"])))
