"""The part of the interface that compares two recordings: begin, stop, and what is kept of it."""

import json
import re
from pathlib import Path
from typing import Any

from apiflask import APIBlueprint, FileSchema, Schema
from apiflask.fields import Boolean, Dict, Float, List, Raw, String
from flask import Response, send_file

from shared.errors import Refused
from shared.protocol.comparing import FOLDER, ComparisonJob, StartComparison, StopComparison, folder_name
from shared.protocol.control import State
from web_ui.operation import NoSuchThing, ask, operation, parts
from web_ui.schemas import schema_of

compare_api = APIBlueprint("compare", __name__, url_prefix="/api/v1/comparisons", tag="compare")

_PAIR = re.compile(r"([A-Za-z0-9][A-Za-z0-9._-]{0,119})~([A-Za-z0-9][A-Za-z0-9._-]{0,119})")
_FILES = {"first.png": "image/png", "second.png": "image/png", "difference.png": "image/png"}
_KEPT_FILES = {"sheet.png": "image/png", "comparison.csv": "text/csv"}


class KeptComparison(Schema):
    """The object of ``tapetum compare --json``, with when it was made and what its pictures show (null: there can be none)."""

    first = String(required=True)
    second = String(required=True)
    aligned = Raw(required=True, metadata={"type": "object", "nullable": True})
    between_s = Float(required=True, allow_none=True)
    between_known_from = String(required=True, allow_none=True)
    reference = String(required=True)
    regions = Dict(required=True)
    warnings = List(String(), required=True)
    cautions = List(String(), required=True)
    made_at = String(required=True)
    pictures = Raw(required=True, metadata={"type": "object", "nullable": True})
    recordings_are_there = Boolean(required=True)


@compare_api.post("")
@compare_api.input(schema_of(StartComparison), arg_name="asked")
@compare_api.output(schema_of(ComparisonJob, answer=True), status_code=202)
@operation(compare_api, "Compare two recordings of the same view, the earlier one first")
def start_comparison(asked: StartComparison) -> ComparisonJob:
    """How far it is stands in the state; the result is kept."""
    return ask(ComparisonJob, asked)


@compare_api.delete("/running")
@compare_api.output(schema_of(State, answer=True))
@operation(compare_api, "Stop the comparison that runs")
def stop_comparison() -> State:
    """What was kept before stays."""
    return ask(State, StopComparison())


@compare_api.get("/<name>")
@compare_api.output(KeptComparison)
@operation(compare_api, "What is kept of comparing two recordings, named FIRST~SECOND", "watches")
def get_comparison(name: str) -> dict[str, Any]:
    """The newest result."""
    path = _folder(name) / "comparison.json"
    try:
        found: dict[str, Any] = json.loads(path.read_bytes())
    except (OSError, ValueError):
        raise NoSuchThing("these two were not compared yet") from None
    recordings = parts().data_folder / "recordings"
    there = all((recordings / f"{one}.zarr").is_dir() for one in name.split("~"))
    return found | {"recordings_are_there": there}


@compare_api.get("/<name>/<picture>")
@compare_api.output(FileSchema(), content_type="image/png")
@operation(
    compare_api,
    "A picture of a comparison: first.png, second.png, difference.png, or to keep: sheet.png, comparison.csv",
    "watches",
)
def get_picture(name: str, picture: str) -> Response:
    """Both runs' ends in one view, their difference, all with a legend, or the table."""
    kind = (_FILES | _KEPT_FILES).get(picture)
    path = _folder(name) / picture
    if kind is None or path.is_symlink() or not path.is_file():
        raise NoSuchThing("no such picture of this comparison")
    return send_file(
        path.resolve(), mimetype=kind, conditional=True, max_age=0, as_attachment=picture in _KEPT_FILES,
        download_name=f"{name.replace('~', '_and_')}.{picture.rpartition('.')[2]}",
    )  # fmt: skip


def _folder(name: str) -> Path:
    pair = _PAIR.fullmatch(name)
    if pair is None:
        raise Refused("not the names of two recordings", name, "write FIRST~SECOND")
    return parts().data_folder / FOLDER / folder_name(pair[1], pair[2])
