"""What the interface says of a recording that is looked at again."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from shared.errors import Refused
from shared.inflow.map_values import PARAMETERS
from shared.inflow.maps_store import has_maps
from shared.protocol.review import ReviewRegion
from shared.recording import Event, Recording
from shared.recording.afterwards import LateNote, Marks, has_analysis, read_analysis, read_late_notes, read_marks
from shared.region import Region
from shared.review.moment import ReviewedRun

UNITS = {
    "peak_relative_percent": "%",
    "relative_percent_at_reference_peak": "%",
    "arrival_s": "s",
    "time_to_peak_s": "s",
    "half_rise_s": "s",
    "ingress_slope_percent_per_s": "%/s",
    "washout_half_life_s": "s",
}
"""The figures that the page shows, in its order."""
REGIONS_AT_MOST = 12


@dataclass(frozen=True)
class RunEvent:
    """Something that happened ``at_s`` after the first frame. ``text`` is a note's words, or what depends on the kind."""

    kind: str
    at_s: float
    text: str


@dataclass(frozen=True)
class ReviewedRecording:
    """``marked`` says whether the regions were chosen in a review. ``injected_at_s`` counts from the first frame, None without dye.

    ``ambient`` says that frames without light measured what is not ours, ``has_baseline`` that the second before dye was recorded,
    ``rehearsed`` that the scene is known, by which an analysis chooses where nothing is marked.
    """

    name: str
    case: str
    started_at: str
    seconds: float
    frames: int
    gaps: int
    complete: bool
    width: int
    height: int
    frame_interval_s: float
    mm_per_px: float | None
    injected_at_s: float | None
    calibration: str
    unknown: tuple[str, ...]
    ambient: bool
    has_baseline: bool
    rehearsed: bool
    reference: ReviewRegion | None
    regions: tuple[ReviewRegion, ...]
    marked: bool
    events: tuple[RunEvent, ...]
    late_notes: tuple[LateNote, ...]
    has_maps: bool
    has_analysis: bool
    full_scale_percent: float
    contours_percent: tuple[float, ...]


def described(run: ReviewedRun, full_scale_percent: float, contours_percent: tuple[float, ...]) -> ReviewedRecording:
    """All that the page must know before it shows a frame."""
    recording = run.recording
    marks, marked = marks_of(recording)
    camera = recording.camera
    return ReviewedRecording(
        name=recording.name,
        case=recording.case,
        started_at=recording.started_at,
        seconds=round(recording.duration_s, 3),
        frames=recording.frames,
        gaps=recording.gaps,
        complete=recording.complete,
        width=camera.width,
        height=camera.height,
        frame_interval_s=camera.frame_interval_us / 1e6,
        mm_per_px=camera.mm_per_px,
        injected_at_s=run.injected_at_s,
        calibration=recording.calibration.origin,
        unknown=recording.unknown,
        ambient=bool(recording.frames) and run.takes_ambient_off,
        has_baseline=run.has_baseline,
        rehearsed=bool(recording.extra.get("scene")),
        reference=marks.reference,
        regions=marks.regions,
        marked=marked,
        events=tuple(_event(event, recording) for event in recording.events),
        late_notes=read_late_notes(recording.path),
        has_maps=has_maps(recording.path),
        has_analysis=has_analysis(recording.path),
        full_scale_percent=full_scale_percent,
        contours_percent=contours_percent,
    )


def marks_of(recording: Recording) -> tuple[Marks, bool]:
    """Reference and regions of the review, else those marked while recording, else analysed; and whether they are the review's."""
    kept = read_marks(recording.path)
    if kept is not None:
        return kept, True
    reference: ReviewRegion | None = None
    regions: dict[str, ReviewRegion] = {}
    for event in recording.events:
        text = event.fields.get("region")
        if event.kind == "reference":
            reference = ReviewRegion(text, _at_s(event, recording)) if isinstance(text, str) and text else None
        elif event.kind == "region":
            name = Region.parse(text).name if isinstance(text, str) and text else str(event.fields.get("name", ""))
            regions.pop(name, None)
            if isinstance(text, str) and text:
                regions[name] = ReviewRegion(text, _at_s(event, recording))
    if reference is None and not regions:
        return _analysed_marks(recording), False
    return Marks(reference, tuple(regions.values())), False


def _analysed_marks(recording: Recording) -> Marks:
    """Where nobody marked anything: what the newest analysis chose, as it does where a rehearsal's scene is known."""
    values = read_analysis(recording.path)
    if values is None:
        return Marks()
    found = kept_analysis(values, recording.name)
    chosen = {curve.name: ReviewRegion(curve.region) for curve in found.curves}
    reference = chosen.pop(found.reference, None)
    return Marks(reference, tuple(chosen.values())[:REGIONS_AT_MOST])


def _at_s(event: Event, recording: Recording) -> float:
    first_ns = int(recording.frame_table.sensor_time_ns[0]) if recording.frames else event.time_ns
    return round(max((event.time_ns - first_ns) / 1e9, 0.0), 3)


def _event(event: Event, recording: Recording) -> RunEvent:
    fields = event.fields
    text = ""
    match event.kind:
        case "note":
            text = str(fields.get("text", ""))
        case "light":
            text = f"{round(100 * float(fields.get('level') or 0))}" if fields.get("lit", True) else "0"
        case "gap":
            text = str(fields.get("frames", ""))
        case "region" | "reference":
            text = str(fields.get("region") or fields.get("name") or "").partition(":")[0]
        case "injection":
            text = "" if fields.get("dose_mg") is None else f"{fields['dose_mg']:g}"
        case "trip" | "end":
            text = str(fields.get("reason", ""))
    first_ns = int(recording.frame_table.sensor_time_ns[0]) if recording.frames else event.time_ns
    return RunEvent(event.kind, round((event.time_ns - first_ns) / 1e9, 3), text)


# ---- the newest analysis ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class AnalysedFigure:
    """One figure of a region with one standard uncertainty; both None where it cannot be known."""

    key: str
    unit: str
    value: float | None
    u: float | None


@dataclass(frozen=True)
class AnalysedRegion:
    """Figures of one region; ``flags`` say what cannot be known or not be trusted, and why."""

    name: str
    figures: tuple[AnalysedFigure, ...]
    flags: tuple[str, ...]


@dataclass(frozen=True)
class AnalysedCurve:
    """Of a region, as on the command line: ``values`` and ``u``, one standard uncertainty, None where it was not seen."""

    name: str
    region: str
    values: tuple[float | None, ...]
    u: tuple[float | None, ...]


@dataclass(frozen=True)
class KeptAnalysis:
    """The newest analysis of a recording. Times in seconds since the first frame."""

    made_at: str
    reference: str
    injected_at_s: float | None
    unit: str
    times_s: tuple[float, ...]
    curves: tuple[AnalysedCurve, ...]
    regions: tuple[AnalysedRegion, ...]
    locked_share: float | None
    largest_shift_mm: float | None
    warnings: tuple[str, ...]


def kept_analysis(values: Mapping[str, Any], source: str) -> KeptAnalysis:
    """What was kept by ``tapetum analyse --review``; raises Refused naming ``source`` where it is not that."""
    try:
        curves, motion = values["curves"], values["motion"] or {}
        return KeptAnalysis(
            made_at=values["made_at"],
            reference=values["reference"],
            injected_at_s=values["injected_at_s"],
            unit=curves["unit"],
            times_s=tuple(curves["times_s"]),
            curves=tuple(
                AnalysedCurve(one["name"], one["region"], tuple(one["values"]), tuple(one["u"]))
                for one in curves["series"]
            ),
            regions=tuple(_analysed(name, figures) for name, figures in values["regions"].items()),
            locked_share=motion.get("locked_share"),
            largest_shift_mm=motion.get("largest_shift_mm"),
            warnings=tuple(values["warnings"]),
        )
    except (KeyError, TypeError, AttributeError) as error:
        raise Refused(
            f"{source}: no analysis as it should be ({error!r})", remedy="analyse the recording again"
        ) from None


def _analysed(name: str, figures: Mapping[str, Any]) -> AnalysedRegion:
    found = tuple(AnalysedFigure(key, unit, figures[key]["value"], figures[key]["u"]) for key, unit in UNITS.items())
    return AnalysedRegion(name, found, tuple(figures["flags"]))


# ---- maps ---------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class KeptMap:
    """One map, and what the ends of its colours stand for, with the step between numbers. ``measured_share`` from 0 to 1; ``notes``
    are said beside it.
    """

    name: str
    unit: str
    low: float
    high: float
    step: float
    measured_share: float
    notes: tuple[str, ...]


@dataclass(frozen=True)
class KeptMaps:
    """The maps kept with a recording. ``reference`` is a region's name, "" where there was none."""

    maps: tuple[KeptMap, ...]
    reference: str
    injected: bool
    motion_followed: bool


@dataclass(frozen=True)
class MapValue:
    """What a map says at a point: ``value`` and standard uncertainty, None where ``standing`` says why."""

    value: float | None
    u: float | None
    unit: str
    standing: str


STANDINGS = ("measured", "saturated", "too dark", "uncertain", "not seen")
"""In the order of the maps' classes."""
MAP_UNITS = {parameter.name: parameter.unit for parameter in PARAMETERS}
