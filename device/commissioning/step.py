"""What every step of commissioning is made of: what to put there, a walk that records, and a reading of what was recorded."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

from device.commissioning.bench import Bench
from shared.commissioning.calibration_folder import Kept, Planes
from shared.commissioning.step_name import StepName
from shared.protocol.control import Target
from shared.recording import Recording


@dataclass(frozen=True)
class Reading:
    """Figures of a step, the planes that correct frames from now on, and files that show how it was found."""

    found: Any
    planes: Planes = field(default_factory=dict)
    evidence: Mapping[str, bytes] = field(default_factory=dict)


class Step(Protocol):
    """One step. ``guide`` tells a person what to do before it; ``target`` is what stands before the camera meanwhile."""

    name: StepName
    guide: str
    target: Target

    def check(self, kept: Kept) -> None:
        """Raise Refused where a step that has to come before this one is missing."""

    def walk(self, bench: Bench, recordings: Path) -> str:
        """Record what the step needs; returns the recording's name. Raises Refused."""

    def read(self, recording: Recording, kept: Kept) -> Reading:
        """Figures from the recording. Raises Refused with the reason why it is worth nothing."""
