"""The part of the interface that compares two recordings: begin, stop, and what is kept of it."""

import json
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from apiflask import APIBlueprint, FileSchema, Schema
from apiflask.fields import Boolean, Dict, Float, Integer, List, Raw, String
from apiflask.validators import Range
from flask import Response, send_file
from numpy.typing import NDArray

from shared.errors import Refused
from shared.inflow.map_values import MEASURED, UNSEEN
from shared.protocol.comparing import FOLDER, POINTS_FILE, ComparisonJob, StartComparison, StopComparison, folder_name
from shared.protocol.control import State
from web_ui.operation import NoSuchThing, ask, operation, parts
from web_ui.review_answers import STANDINGS
from web_ui.schemas import schema_of

compare_api = APIBlueprint("compare", __name__, url_prefix="/api/v1/comparisons", tag="compare")

_PAIR = re.compile(r"([A-Za-z0-9][A-Za-z0-9._-]{0,119})~([A-Za-z0-9][A-Za-z0-9._-]{0,119})")
_FILES = {"first.png": "image/png", "second.png": "image/png", "difference.png": "image/png"}
_COLUMNS = (("first", "%"), ("second", "%"), ("difference", "points"))
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


class _Point(Schema):
    """Where, in pixels of the pictures."""

    x = Integer(required=True, validate=Range(0, 8192))
    y = Integer(required=True, validate=Range(0, 8192))


@dataclass(frozen=True)
class PointValue:
    """``percent`` of the reference (of a difference: points) and standard uncertainty; None where ``standing`` says why."""

    percent: float | None
    u: float | None
    standing: str


@dataclass(frozen=True)
class ComparedPoint:
    """Both runs' ends and second minus first, at one point."""

    first: PointValue
    second: PointValue
    difference: PointValue


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


@compare_api.get("/<name>/value")
@compare_api.input(_Point, location="query", arg_name="point")
@compare_api.output(schema_of(ComparedPoint, answer=True))
@operation(compare_api, "What the pictures of a comparison say at a point", "watches")
def get_value(name: str, point: dict[str, int]) -> ComparedPoint:
    """Each with its standard uncertainty, or why there is none."""
    values = _points(name)
    if point["y"] >= values.shape[2] or point["x"] >= values.shape[3]:
        raise Refused("the point lies outside the picture", remedy="touch the picture")
    return ComparedPoint(*(_value(*map(float, one)) for one in values[:, :, point["y"], point["x"]]))


@compare_api.get("/<name>/points.csv")
@compare_api.output(FileSchema(), content_type="text/csv")
@operation(compare_api, "The pictures of a comparison as numbers", "watches")
def get_points(name: str) -> Response:
    """One row a bin that was measured: its middle in pixels; percent of either run's end and their difference, each with its u."""
    download = f"attachment; filename={name.replace('~', '_and_')}_points.csv"
    return Response(_rows(_points(name)), mimetype="text/csv", headers={"Content-Disposition": download})


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


def _points(name: str) -> NDArray[np.float16]:
    """As POINTS_FILE has them, mapped rather than read; raises NoSuchThing where this comparison has none."""
    try:
        values = np.load(_folder(name) / POINTS_FILE, mmap_mode="r", allow_pickle=False)
    except (OSError, ValueError):
        values = np.zeros(0, np.float16)
    if values.shape[:2] != (3, 3) or values.ndim != 4:
        raise NoSuchThing("nothing can be read from the pictures of this comparison; compare again")
    return np.asarray(values)


def _rows(values: NDArray[np.float16]) -> Iterator[str]:
    yield "x (pixels),y (pixels)," + ",".join(f"{one} ({unit}),standard uncertainty ({unit})" for one, unit in _COLUMNS)
    yield "\r\n"
    for row in range(values.shape[2]):
        percent, u, classes = (values[:, part, row].astype(np.float64) for part in range(3))
        known = (classes == MEASURED) & np.isfinite(percent) & np.isfinite(u)
        for column in np.flatnonzero(known.any(axis=0)):
            cells = (
                f"{percent[at, column]:.4g},{u[at, column]:.3g}" if known[at, column] else ","
                for at in range(len(_COLUMNS))
            )
            yield f"{2 * column + 1},{2 * row + 1},{','.join(cells)}\r\n"


def _value(percent: float, u: float, standing: float) -> PointValue:
    if standing == MEASURED and math.isfinite(percent) and math.isfinite(u):
        return PointValue(round(percent, 3), round(u, 3), STANDINGS[MEASURED])
    return PointValue(None, None, STANDINGS[int(standing) if standing != MEASURED else UNSEEN])


def _folder(name: str) -> Path:
    pair = _PAIR.fullmatch(name)
    if pair is None:
        raise Refused("not the names of two recordings", name, "write FIRST~SECOND")
    return parts().data_folder / FOLDER / folder_name(pair[1], pair[2])
