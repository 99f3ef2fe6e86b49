"""What the page and the command line ask of the imager: one JSON object a line over a Unix stream socket, one answer each.

The first line is a Hello; a wrong version is refused at once. Every later request is answered by State, Recordings, Curves, Taken,
ExportJob, PressAwaited or Problem. Standard library only.
"""

import secrets
from dataclasses import dataclass, field
from typing import Annotated, Literal

from shared.bounded import Length, Within
from shared.protocol import commissioning, comparing, curves, device_facts, exporting, records, review
from shared.protocol.exporting import ExportFormat as ExportFormat
from shared.protocol.exporting import ExportJob as ExportJob
from shared.protocol.exporting import StartExport as StartExport
from shared.protocol.languages import Language
from shared.protocol.light import ConditionState, LightState
from shared.protocol.wire import by_name

VERSION = 2

View = Literal["grey", "relative", "side by side"]
Target = Literal["patient", "cap", "dye card", "plain card", "dot grid", "slanted edge", "dilution row", "check box"]


# ---- requests -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Hello:
    """Opens a connection."""

    version: int = VERSION


@dataclass(frozen=True)
class GetState:
    """Answered by State."""


@dataclass(frozen=True)
class SetView:
    """Choose the live view."""

    view: View


@dataclass(frozen=True)
class SetContours:
    """Percentages of the reference at which lines are drawn, rising, at most four."""

    percent: Annotated[tuple[float, ...], Within(1, 200), Length(0, 4)]


@dataclass(frozen=True)
class SetReference:
    """Choose the healthy tissue that counts as 100 %; ``region`` as on the command line, ``None`` takes the reference away."""

    region: Annotated[str, Length(1, 2000)] | None


@dataclass(frozen=True)
class PutRegion:
    """Add a region, or replace the one of the same name."""

    region: Annotated[str, Length(1, 2000)]


@dataclass(frozen=True)
class RemoveRegion:
    """Take a region away by name."""

    name: Annotated[str, Length(1, 40)]


@dataclass(frozen=True)
class Light:
    """Operate the ring. ``on`` asks for light until ``off``, ``hold`` for a second only, as a finger that has to repeat itself;
    whether it is lit is the guard's decision.

    ``press`` is a number that a finger has until it lifts: once its ``off`` was heard, an ``on`` of the same press that was
    overtaken on its way asks for nothing. 0: no finger's; such an ``off`` ends whichever finger holds the light.
    """

    act: Literal["on", "hold", "off", "brighter", "dimmer", "rearm"]
    press: Annotated[int, Within(0, 2**53 - 1)] = 0


def a_press() -> int:
    """The number of one press, that no other has."""
    return 1 + secrets.randbelow(2**53 - 1)


@dataclass(frozen=True)
class SetExposure:
    """Exposure and gain of the sensor; refused while a recording runs."""

    exposure_us: Annotated[float, Within(20, 1_000_000)]
    gain: Annotated[float, Within(1, 64)]


@dataclass(frozen=True)
class StepExposure:
    """Exposure and gain for a step of commissioning, which records one after the other: also while a recording of its own runs."""

    exposure_us: Annotated[float, Within(20, 1_000_000)]
    gain: Annotated[float, Within(1, 64)]


@dataclass(frozen=True)
class PutTarget:
    """Put a target of commissioning before the simulated camera ("patient" takes it away); before a real one a person does it."""

    target: Target


@dataclass(frozen=True)
class WithholdLeases:
    """Renew no lease until the guard has gone dark, or a second is over: tries on purpose that it trips. It can only darken."""


@dataclass(frozen=True)
class ChooseExposure:
    """Exposure, gain and light level that suit what the camera sees of the reference, or of the picture's middle.

    ``apply`` sets them as well, frame by frame until they fit. With the dye "to come" room is left for it. The light must be on;
    refused while a run is on. Answered by ExposureChosen.
    """

    apply: bool = False
    dye: Literal["to come", "is in"] = "to come"


@dataclass(frozen=True)
class Record:
    """Start or stop a recording. ``case`` is a code, never a name."""

    act: Literal["start", "stop"]
    case: Annotated[str, Length(0, 40)] = ""


@dataclass(frozen=True)
class MarkInjection:
    """Dye goes in now: starts the clock, and takes the picture of the moment before as baseline. ``undo`` takes it back.

    Starts a recording of that ``case`` if none runs. ``dose_mg`` is kept with it, for the case's dye record.
    """

    undo: bool = False
    case: Annotated[str, Length(0, 40)] = ""
    dose_mg: Annotated[float, Within(0.01, 500)] | None = None


@dataclass(frozen=True)
class AddNote:
    """Words kept with the recording, at this moment."""

    text: Annotated[str, Length(1, 2000)]


@dataclass(frozen=True)
class TakeStill:
    """Keep the picture as shown, with its legend in that language, as PNG. Answered by Taken."""

    language: Language = "en"


@dataclass(frozen=True)
class ListRecordings:
    """Answered by Recordings, newest first; without a ``limit`` all of them.

    ``text`` is any part of case or name, ``case`` a whole code ("" for those without); ``from_at`` and ``until_at`` bound when they
    began, UTC in ISO 8601; ``after`` is an earlier answer's ``next``.
    """

    after: Annotated[str, Length(0, 200)] = ""
    limit: Annotated[int, Within(1, records.MOST_AT_ONCE)] | None = None
    case: Annotated[str, Length(0, 40)] | None = None
    text: Annotated[str, Length(0, 120)] = ""
    from_at: Annotated[str, Length(0, 40)] = ""
    until_at: Annotated[str, Length(0, 40)] = ""


@dataclass(frozen=True)
class AwaitPress:
    """Take the next short press of the button as a yes to what the page asks. Answered by PressAwaited; see GetPress."""

    seconds: Annotated[float, Within(1, 60)]


@dataclass(frozen=True)
class GetPress:
    """How the awaited press of that number stands. ``drop`` ends the waiting. Answered by PressAwaited."""

    number: Annotated[int, Within(0, 2**62)]
    drop: bool = False


REQUESTS: dict[str, type] = by_name(
    Hello,
    GetState,
    SetView,
    SetContours,
    SetReference,
    PutRegion,
    RemoveRegion,
    Light,
    SetExposure,
    ChooseExposure,
    StepExposure,
    PutTarget,
    WithholdLeases,
    *commissioning.REQUESTS,
    *device_facts.REQUESTS,
    Record,
    MarkInjection,
    AddNote,
    TakeStill,
    ListRecordings,
    *records.REQUESTS,
    *review.REQUESTS,
    *exporting.REQUESTS,
    *comparing.REQUESTS,
    curves.GetCurves,
    AwaitPress,
    GetPress,
)
"""By class name, as on the wire."""


# ---- answers ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CameraState:
    """``rate_hz`` is measured over the last second; ``frame_age_ms`` since the newest frame's readout."""

    model: str
    width: int
    height: int
    kind: Literal["picamera", "simulated", "replay"]
    exposure_us: float
    gain: float
    rate_hz: float
    sequence: int
    frame_age_ms: float
    lost_frames: int


@dataclass(frozen=True)
class LampState:
    """The guard's LightStatus, with what the imager knows of it. ``reachable`` is false while the guard does not answer.

    ``conditions`` is everything that must be true for light, in the order in which ``reason`` names what is missing.
    ``ripple`` is what dimming by pulses does to exposures, peak to peak as a share of their mean.
    """

    reachable: bool
    state: LightState
    level: float
    wanted_on: bool
    wanted_level: float
    lease_left_ms: float
    reason: str
    pwm: Literal["hardware", "software"] = "hardware"
    pulse_hz: float = 0.0
    ripple: float = 0.0
    conditions: tuple[ConditionState, ...] = ()


@dataclass(frozen=True)
class RegionState:
    """A region and its newest value in percent of the reference; ``percent`` is None where ``flag`` says why.

    Flags: "no reference", "reference too dark", "reference saturated", "saturated", "too dark", "unlit", "no picture yet"; and
    "uncertain" beside a value whose standard uncertainty exceeds ``picture.widest_u_percent``.
    """

    region: str
    name: str
    percent: float | None
    percent_u: float | None
    flag: str = ""


@dataclass(frozen=True)
class RecordingState:
    """``gaps`` counts frames that could not be kept; ``ended_because`` is why the last recording stopped by itself, as each does
    when less than ``least_free_mb`` are free.
    """

    name: str | None
    seconds: float
    frames: int
    gaps: int
    queue_fill: float
    free_mb: float
    ended_because: str = ""
    least_free_mb: float = 0.0


@dataclass(frozen=True)
class State:
    """Everything a newcomer's page needs. ``light_measured_at`` is empty where light output is assumed linear; ``ring`` is whose
    light it is, ``sensor`` whose frames they are, ``data_folder`` where the device keeps recordings and calibration.
    ``calibrated_at`` is empty where nothing of the camera was measured. ``case`` is the one that is open, "" for none. ``happened``
    changes when there is something new in ``Curves.happened``. ``maps_ready`` is the newest run whose maps lie with it.
    """

    camera: CameraState
    light: LampState
    view: View
    contours_percent: tuple[float, ...]
    reference: RegionState | None
    regions: tuple[RegionState, ...]
    recording: RecordingState
    since_injection_s: float | None
    calibration: Literal["commissioned", "scene truth", "assumed"]
    light_levels: tuple[float, ...]
    hold_to_light: bool
    exports: tuple[ExportJob, ...] = ()
    last_still: str | None = None
    warnings: tuple[str, ...] = ()
    light_measured_at: str = ""
    ring: str = ""
    sensor: str = ""
    calibrated_at: str = ""
    data_folder: str = ""
    walk: commissioning.WalkState | None = None
    analysis: review.AnalysisJob | None = None
    comparison: comparing.ComparisonJob | None = None
    case: str = ""
    happened: int = 0
    maps_ready: str = ""
    version: int = VERSION


@dataclass(frozen=True)
class RecordingSummary:
    """One line of the list. ``complete`` is false for a recording that was cut off (it opens all the same)."""

    name: str
    started_at: str
    case: str
    seconds: float
    frames: int
    gaps: int
    size_mb: float
    complete: bool


@dataclass(frozen=True)
class Recordings:
    """Answer to ListRecordings. ``total`` counts all that match, ``next`` is "" at the end of the list.

    ``unread`` recordings are still being looked through, after many came at once, and not listed yet.
    """

    recordings: tuple[RecordingSummary, ...] = field(default=())
    total: int = 0
    next: str = ""
    unread: int = 0


@dataclass(frozen=True)
class Taken:
    """A still was kept under this name, beside the recordings."""

    name: str


@dataclass(frozen=True)
class PressAwaited:
    """``reason`` says why waiting ended where no press ended it."""

    number: int
    state: Literal["waiting", "pressed", "ended"]
    seconds_left: float
    reason: str = ""


@dataclass(frozen=True)
class ExposureChosen:
    """What was chosen, in ``steps``, and how bright ``area`` was seen last: shares of full scale, 0 to 1."""

    exposure_us: float
    gain: float
    light_level: float
    verdict: Literal["as it is", "brighter", "darker", "rearranged", "as bright as it goes", "as dark as it goes"]
    area: str
    seen_share: float
    saturated_share: float
    target_share: float
    applied: bool
    steps: int


@dataclass(frozen=True)
class Problem:
    """The request was refused, or (``fault``) failed for a reason of the device."""

    line: str
    fault: bool = False


ANSWERS: dict[str, type] = by_name(
    State,
    Recordings,
    curves.Curves,
    Taken,
    *exporting.ANSWERS,
    *comparing.ANSWERS,
    ExposureChosen,
    PressAwaited,
    Problem,
    *records.ANSWERS,
    *review.ANSWERS,
    *commissioning.ANSWERS,
    *device_facts.ANSWERS,
)
"""By class name, as on the wire."""
