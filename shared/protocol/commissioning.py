"""What page and command line ask of the imager about commissioning and the check before a case, and what it answers.

A *walk* is a check or a step of commissioning that runs as a child of the imager. What a step measured stays a *proposal* until it
is kept or discarded. Standard library only.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from shared.bounded import Length, Within

Walk = Literal[
    "check", "dark", "defects", "flat", "gain", "light", "scale", "sharpness", "leakage", "sensitivity"
]  # fmt: skip
Paper = Literal["certificate", "target-a4", "target-letter"]
Number = Annotated[float, Within(-1e12, 1e12)]
CalibrationName = Annotated[str, Length(1, 60)]


# ---- requests -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class GetCommissioning:
    """Answered by Commissioning."""


@dataclass(frozen=True)
class GetCurve:
    """What a step was read from. ``of`` names a calibration; empty: the newest one. Answered by Curve."""

    step: Walk
    of: Annotated[str, Length(0, 60)] = ""
    proposed: bool = False


@dataclass(frozen=True)
class StartWalk:
    """Begin a walk; how it goes is in the state. Whoever asks has put the target there and warned everyone near of the light.

    It goes on only while WatchWalk comes at least every few seconds. ``distance_mm`` and ``pitch_mm`` are for scale,
    ``concentrations`` and ``unit`` for sensitivity.
    """

    walk: Walk
    distance_mm: Annotated[float, Within(30, 2000)] = 250.0
    pitch_mm: Annotated[float, Within(1, 100)] = 10.0
    concentrations: Annotated[tuple[float, ...], Within(0, 1e9), Length(0, 8)] = ()
    unit: Annotated[str, Length(1, 20)] = "micromole/L"


@dataclass(frozen=True)
class WatchWalk:
    """Someone still watches the walk that runs."""


@dataclass(frozen=True)
class StopWalk:
    """End the walk that runs: its light goes off at once, and nothing of it is kept."""


@dataclass(frozen=True)
class SettleProposal:
    """Keep what the last step measured as the newest calibration, or discard it."""

    keep: bool


@dataclass(frozen=True)
class UseCalibration:
    """Take an older calibration up again: it is kept once more, newly dated."""

    name: CalibrationName


@dataclass(frozen=True)
class UseFormerLight:
    """Take the light output measured before the newest up again: it is kept once more, newly dated. Answered by Commissioning."""


@dataclass(frozen=True)
class PutInForce:
    """Start the imager again, so that the newest calibration is in force."""


@dataclass(frozen=True)
class MakePaper:
    """Write a certificate, or printable targets, as PDF; how that goes is in Commissioning."""

    paper: Paper


# ---- answers ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CheckItem:
    """One line of the check before a case: what, whether it passed, and value beside limit, or what to do."""

    name: Annotated[str, Length(1, 40)]
    passed: bool
    words: Annotated[str, Length(0, 400)]


@dataclass(frozen=True)
class WalkState:
    """The walk that runs, or the newest that ran. ``said`` is what it told of its way, ``items`` are a check's lines so far.

    ``error`` says why it ended without a result; ``passed`` is true only for a check of which every item passed.
    """

    walk: Walk
    running: bool
    started_at: str
    said: tuple[str, ...] = ()
    items: tuple[CheckItem, ...] = ()
    passed: bool = False
    error: str = ""


@dataclass(frozen=True)
class FigureLine:
    """One figure of a step beside its limit; ``passed`` is None where it is stated only."""

    figure: str
    words: str
    limit: str
    passed: bool | None


@dataclass(frozen=True)
class StepLine:
    """A step as it stands in the newest calibration; ``made_at`` is empty where it was never taken."""

    step: Walk
    made_at: str
    recording: str
    needs: tuple[str, ...]
    lights: bool
    figures: tuple[FigureLine, ...]


@dataclass(frozen=True)
class CalibrationLine:
    """One calibration of the list, newest first."""

    name: str
    steps: tuple[str, ...]
    missing: tuple[str, ...]
    again_from: str


@dataclass(frozen=True)
class Proposal:
    """What the last step measured, not kept yet, beside the figures that it would replace."""

    step: Walk
    made_at: str
    figures: tuple[FigureLine, ...]
    before: tuple[FigureLine, ...]


@dataclass(frozen=True)
class CheckRecord:
    """A check that was made, as it is kept on the device."""

    made_at: Annotated[str, Length(20, 20)]
    passed: bool
    items: Annotated[tuple[CheckItem, ...], Length(1, 40)]
    calibrated_at: Annotated[str, Length(0, 20)] = ""


@dataclass(frozen=True)
class PaperState:
    """A PDF that is being written, or was: ``file`` is its name once it can be fetched."""

    paper: Paper
    running: bool
    file: str = ""
    error: str = ""


@dataclass(frozen=True)
class Commissioning:
    """What is calibrated, since when, and what is at hand. ``now`` is the device's clock, all moments are UTC in ISO 8601.

    ``in_force`` is when the calibration that results use was made, empty where they rest on assumptions; ``newest`` is that of the
    newest one, which the next start will use. A step older than ``oldest_days`` should be taken again.
    """

    now: str
    sensor: str
    steps: tuple[StepLine, ...]
    in_force: str
    newest: str
    light_in_force: str
    proposal: Proposal | None
    calibrations: tuple[CalibrationLine, ...]
    checks: tuple[CheckRecord, ...]
    paper: PaperState | None
    oldest_days: int
    trouble: str = ""


@dataclass(frozen=True)
class Series:
    """Values of a curve at its ``x``; None where there is none."""

    name: Literal["measured", "line", "proportional", "places", "share"]
    values: tuple[float | None, ...]


@dataclass(frozen=True)
class Curve:
    """What a step was read from: series over ``x``, or ``columns`` of ``x`` cells row by row. Neither: nothing was kept."""

    step: Walk
    x: tuple[float, ...] = ()
    series: tuple[Series, ...] = ()
    columns: int = 0
    mark: float | None = None


REQUESTS: tuple[type, ...] = (
    GetCommissioning,
    GetCurve,
    StartWalk,
    WatchWalk,
    StopWalk,
    SettleProposal,
    UseCalibration,
    UseFormerLight,
    PutInForce,
    MakePaper,
)
ANSWERS: tuple[type, ...] = (Commissioning, Curve)
