"""What page and command line ask of the imager about comparing two recordings. Standard library only."""

from dataclasses import dataclass
from typing import Annotated

from shared.bounded import Length, Within

RecordingName = Annotated[str, Length(1, 120)]
Words = Annotated[str, Length(0, 2000)]

FOLDER = "comparisons"
"""Below the data folder: one folder FIRST~SECOND for each comparison that is kept, newest result only."""

POINTS_FILE = "points.npy"
"""In such a folder: (first, second, difference) x (percent, uncertainty, class of shared.inflow.map_values) x rows x columns,
float16, so that a single point can be read without the rest.
"""


@dataclass(frozen=True)
class StartComparison:
    """Compare two recordings of the same view, the earlier one first. Answered by ComparisonJob; its result is kept.

    ``reference`` and ``regions`` as on the command line, "" and none: those of the first one's review. ``minutes_between`` from
    injection to injection, None: what the recordings know. ``same_view`` takes a pixel for the same place in both without looking.
    """

    first: RecordingName
    second: RecordingName
    reference: Words = ""
    regions: Annotated[tuple[Words, ...], Length(0, 12)] = ()
    minutes_between: Annotated[float, Within(0, 100_000)] | None = None
    same_view: bool = False


@dataclass(frozen=True)
class StopComparison:
    """End the comparison that runs; what was kept before stays. Answered by the state."""


REQUESTS = (StartComparison, StopComparison)


@dataclass(frozen=True)
class ComparisonJob:
    """How the newest comparison goes, or went. ``done`` from 0 to 1."""

    number: int
    first: str
    second: str
    done: float = 0.0
    finished: bool = False
    error: str = ""
    stopped: bool = False


ANSWERS = (ComparisonJob,)


def folder_name(first: str, second: str) -> str:
    """Of the folder that keeps the comparison of two recordings."""
    return f"{first}~{second}"
