"""The interface under /api/v1/recordings/NAME/ to look at a recording again: moments, marks, notes, curves, maps."""

import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from apiflask import APIBlueprint, FileSchema, Schema
from apiflask.fields import Boolean, Float, String
from apiflask.validators import Length as TextLength
from apiflask.validators import OneOf, Range
from flask import Response, current_app
from PIL import Image

from shared.bounded import Length
from shared.errors import Refused
from shared.inflow.map_pictures import coloured, drawn_map, grey_beneath, scale_of
from shared.inflow.map_values import NAMES, PARAMETERS, InflowMaps
from shared.inflow.maps_store import FOLDER as MAPS_FOLDER
from shared.inflow.maps_store import has_maps, read_maps
from shared.protocol.control import State
from shared.protocol.review import (
    AddLateNote,
    AnalysisJob,
    DropMarks,
    KeepMarks,
    ReviewKept,
    ReviewRegion,
    Seconds,
    StartAnalysis,
    StopAnalysis,
    UndoLateNote,
)
from shared.recording.afterwards import FOLDER, read_analysis
from shared.review.moment import Moment, ReviewedRun
from web_ui.operation import NoSuchThing, ask, operation
from web_ui.review_answers import (
    MAP_UNITS,
    STANDINGS,
    KeptAnalysis,
    KeptMap,
    KeptMaps,
    MapValue,
    ReviewedRecording,
    described,
    kept_analysis,
    marks_of,
)
from web_ui.review_runs import ReviewRuns, jpeg_of
from web_ui.schemas import schema_of

review_api = APIBlueprint("review", __name__, url_prefix="/api/v1/recordings/<name>", tag="review")

KEPT = schema_of(ReviewKept, answer=True)


class _Chosen(Schema):
    """Which frame."""

    at_s = Float(load_default=0.0, validate=Range(0, 1e6), metadata={"description": "seconds since the first frame"})


class _Shown(_Chosen):
    """Which frame, and how."""

    view = String(load_default="relative", validate=OneOf(["grey", "relative", "side by side"]))
    size = String(load_default="full", validate=OneOf(["full", "half"]), metadata={"description": "half is quicker"})
    contours = String(load_default="20,40,60", validate=TextLength(0, 60), metadata={"description": "percent, rising"})


class _Point(Schema):
    """Where, in pixels of the sensor."""

    x = Float(required=True, validate=Range(0, 8192))
    y = Float(required=True, validate=Range(0, 8192))


class _Drawn(Schema):
    """How a map is drawn."""

    legend = Boolean(load_default=True)


@dataclass(frozen=True)
class MarksAsked:
    """Reference and regions of the review, in place of those before."""

    reference: ReviewRegion | None
    regions: Annotated[tuple[ReviewRegion, ...], Length(0, 12)]


@dataclass(frozen=True)
class NoteAsked:
    """Words about a moment, said afterwards."""

    at_s: Seconds
    text: Annotated[str, Length(1, 2000)]


@dataclass(frozen=True)
class AnalysisAsked:
    """Curves and figures, and with ``maps`` also maps of the inflow."""

    maps: bool = False
    follow_motion: bool = True


@review_api.get("/review")
@review_api.output(schema_of(ReviewedRecording, answer=True))
@operation(review_api, "A recording to look at again", "watches")
def get_review(name: str) -> ReviewedRecording:
    """What it is, what happened in it, and which regions count."""
    with _runs().run(name) as run:
        settings = _runs().settings
        return described(run, settings.full_scale_percent, settings.contours_percent)


@review_api.get("/picture.jpg")
@review_api.input(_Shown, location="query", arg_name="shown")
@review_api.output(FileSchema(), content_type="image/jpeg")
@operation(review_api, "One frame as the live picture would show it by itself", "watches")
def get_moment_picture(name: str, shown: dict[str, Any]) -> Response:
    """X-Frame and X-Time-S say which one it is, X-Regions (JSON) where the regions lie in it, X-Place how that is known."""
    runs = _runs()
    contours = _contours(shown["contours"])
    with runs.run(name) as run:
        marks, _ = marks_of(run.recording)
        number, reference = run.number_at(shown["at_s"]), marks.reference
        time_s, place = float(run.times_s[number]), run.place(number)
        marked = (*([] if reference is None else [reference]), *marks.regions)
        lying = [str(region) for region in run.regions_at(number, marked)]
    key = (name, number, shown["view"], shown["size"], contours, reference)
    jpeg = runs.kept_picture(key)
    if jpeg is None:
        with runs.run(name) as run:
            look = run.look(shown["view"], contours)
            jpeg = jpeg_of(run.picture(number, reference, look, reduced=shown["size"] == "half"))
        runs.keep_picture(key, jpeg)
    response = Response(jpeg, mimetype="image/jpeg")
    response.headers["X-Frame"] = str(number)
    response.headers["X-Time-S"] = f"{time_s:.6f}"
    response.headers["X-Regions"] = json.dumps(lying)
    response.headers["X-Place"] = place
    return response


@review_api.get("/moment")
@review_api.input(_Chosen, location="query", arg_name="chosen")
@review_api.output(schema_of(Moment, answer=True))
@operation(review_api, "Values of the regions in one frame", "watches")
def get_moment(name: str, chosen: dict[str, float]) -> Moment:
    """By the live picture's arithmetic, that frame by itself."""
    with _runs().run(name) as run:
        marks, _ = marks_of(run.recording)
        return run.moment(run.number_at(chosen["at_s"]), marks.reference, marks.regions)


@review_api.put("/marks")
@review_api.input(schema_of(MarksAsked), arg_name="asked")
@review_api.output(KEPT)
@operation(review_api, "Choose reference and regions of a review")
def keep_marks(name: str, asked: MarksAsked) -> ReviewKept:
    """Kept beside the recording; what was marked while recording stays."""
    return ask(ReviewKept, KeepMarks(_known(name), asked.reference, asked.regions))


@review_api.delete("/marks")
@review_api.output(KEPT)
@operation(review_api, "Go back to the regions marked while recording")
def drop_marks(name: str) -> ReviewKept:
    """Those of the review are forgotten."""
    return ask(ReviewKept, DropMarks(_known(name)))


@review_api.post("/notes")
@review_api.input(schema_of(NoteAsked), arg_name="asked")
@review_api.output(KEPT, status_code=201)
@operation(review_api, "Keep words about a moment, said afterwards")
def add_late_note(name: str, asked: NoteAsked) -> ReviewKept:
    """Beside the recording, never in it."""
    return ask(ReviewKept, AddLateNote(_known(name), asked.at_s, asked.text))


@review_api.delete("/notes/last")
@review_api.output(KEPT)
@operation(review_api, "Take the last note back that was said afterwards")
def undo_late_note(name: str) -> ReviewKept:
    """Notes made while recording stay."""
    return ask(ReviewKept, UndoLateNote(_known(name)))


@review_api.post("/analysis")
@review_api.input(schema_of(AnalysisAsked), arg_name="asked")
@review_api.output(schema_of(AnalysisJob, answer=True), status_code=202)
@operation(review_api, "Analyse the recording with the marks of its review")
def start_analysis(name: str, asked: AnalysisAsked) -> AnalysisJob:
    """How far it is stands in the state."""
    return ask(AnalysisJob, StartAnalysis(_known(name), asked.maps, asked.follow_motion))


@review_api.delete("/analysis")
@review_api.output(schema_of(State, answer=True))
@operation(review_api, "Stop the analysis that runs")
def stop_analysis(name: str) -> State:
    """What was kept before stays."""
    _known(name)
    return ask(State, StopAnalysis())


@review_api.get("/analysis")
@review_api.output(schema_of(KeptAnalysis, answer=True))
@operation(review_api, "Curves and figures of the newest analysis", "watches")
def get_analysis(name: str) -> KeptAnalysis:
    """As tapetum analyse gives them."""
    path = _runs().path(name)
    values = read_analysis(path)
    if values is None:
        raise NoSuchThing(f"{name} was not analysed yet")
    return kept_analysis(values, f"{name}/{FOLDER}/analysis.json")


@review_api.get("/maps")
@review_api.output(schema_of(KeptMaps, answer=True))
@operation(review_api, "Which maps of the inflow there are", "watches")
def get_maps(name: str) -> KeptMaps:
    """With the scale of each."""
    maps = _maps(name)
    about = maps.about
    return KeptMaps(
        maps=tuple(_kept_map(maps, one) for one in NAMES),
        reference=about.reference.partition(":")[0],
        injected=about.injected,
        motion_followed=about.motion_followed,
    )


@review_api.get("/maps/<map_name>.png")
@review_api.input(_Drawn, location="query", arg_name="drawn")
@review_api.output(FileSchema(), content_type="image/png")
@operation(review_api, "A map as a picture", "watches")
def get_map_picture(name: str, map_name: str, drawn: dict[str, bool]) -> Response:
    """With its legend beneath, or alone, one pixel a bin."""
    parameter = PARAMETERS[_map_number(map_name)]
    maps = _maps(name)
    values, _, classes = maps.of(map_name)
    encoded = io.BytesIO()
    with _runs().run(name) as run:
        grey = _grey(run)
        if drawn["legend"]:
            picture = drawn_map(maps, parameter, grey)
        else:
            picture = Image.fromarray(coloured(values, classes, grey, scale_of(values, parameter)))
        picture.save(encoded, "PNG", compress_level=1)
    return Response(encoded.getvalue(), mimetype="image/png")


@review_api.get("/maps/<map_name>.csv")
@review_api.output(FileSchema(), content_type="text/csv")
@operation(review_api, "A map as numbers", "watches")
def get_map_table(name: str, map_name: str) -> Response:
    """One row a bin that was measured: its middle in pixels, value, standard uncertainty."""
    parameter = PARAMETERS[_map_number(map_name)]
    maps = _maps(name)
    with _runs().room():
        rows = "".join(_rows(maps, parameter.name, parameter.unit))
    return Response(rows, mimetype="text/csv")


@review_api.get("/maps/<map_name>/value")
@review_api.input(_Point, location="query", arg_name="point")
@review_api.output(schema_of(MapValue, answer=True))
@operation(review_api, "What a map says at a point", "watches")
def get_map_value(name: str, map_name: str, point: dict[str, float]) -> MapValue:
    """With its standard uncertainty, or why there is none."""
    _map_number(map_name)
    values, u, classes = _maps(name).of(map_name)
    row, column = int(point["y"]) // 2, int(point["x"]) // 2
    unit = MAP_UNITS[map_name]
    if row >= values.shape[0] or column >= values.shape[1]:
        return MapValue(None, None, unit, STANDINGS[-1])
    standing = STANDINGS[int(classes[row, column])]
    if standing != STANDINGS[0]:
        return MapValue(None, None, unit, standing)
    return MapValue(float(values[row, column]), float(u[row, column]), unit, standing)


# ---- pieces -------------------------------------------------------------------------------------------------------------


def _runs() -> ReviewRuns:
    found: ReviewRuns = current_app.extensions["tapetum review"]
    return found


def _known(name: str) -> str:
    """The name of a recording that is there; raises like ``ReviewRuns.path``."""
    _runs().path(name)
    return name


def _contours(text: str) -> tuple[float, ...]:
    try:
        found = tuple(float(one) for one in text.split(",") if one.strip())
    except ValueError:
        raise Refused("not percentages", text, "write them as 20,40,60") from None
    if not all(1 <= one <= 200 for one in found):
        raise Refused("contours lie between 1 and 200 percent", text, "write them as 20,40,60")
    return found


def _maps(name: str) -> InflowMaps:
    path = _runs().path(name)
    if not has_maps(path):
        raise NoSuchThing(f"{name} has no maps yet")
    with _runs().room():
        return _read_maps(path, (path / MAPS_FOLDER).stat().st_mtime_ns)


@lru_cache(maxsize=1)
def _read_maps(path: Path, stamp_ns: int) -> InflowMaps:
    """The maps read last; ``stamp_ns`` changes when others take their place."""
    return read_maps(path)


def forget_maps() -> None:
    """Nobody looks at them now."""
    _read_maps.cache_clear()


def _map_number(map_name: str) -> int:
    if map_name not in NAMES:
        raise NoSuchThing(f"no such map: {map_name}; there are {', '.join(NAMES)}")
    return NAMES.index(map_name)


def _kept_map(maps: InflowMaps, map_name: str) -> KeptMap:
    parameter = PARAMETERS[_map_number(map_name)]
    values, _, classes = maps.of(map_name)
    scale = scale_of(values, parameter)
    share = round(float(np.mean(classes == 0)), 4)
    notes = maps.about.notes_on(map_name)
    return KeptMap(map_name, parameter.unit, scale.low, scale.high, scale.step, share, notes)


def _grey(run: ReviewedRun) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """The last frame with light: where the dye is, edges show."""
    return grey_beneath(run.last_lit_frame(), run.recording.calibration)


def _rows(maps: InflowMaps, map_name: str, unit: str) -> Iterator[str]:
    values, u, classes = maps.of(map_name)
    yield f"x (pixels),y (pixels),{map_name} ({unit}),standard uncertainty ({unit})\r\n"
    for row in range(values.shape[0]):
        found = np.flatnonzero(classes[row] == 0)
        if found.size:
            yield "".join(f"{2 * c + 1},{2 * row + 1},{values[row, c]:.6g},{u[row, c]:.3g}\r\n" for c in found)
