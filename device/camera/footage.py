"""What a replay plays: pictures taken elsewhere, with what is known of them and what is not."""

from dataclasses import dataclass
from typing import Protocol

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Counts

SMALLEST_PX, LARGEST_PX = 64, 8192


@dataclass(frozen=True)
class Taken:
    """How a frame was taken, in a Frame's own terms. ``sequence`` counts what the camera gave, lost frames too."""

    sequence: int
    exposure_us: float
    gain: float = 1.0
    light_level: float = 1.0
    lit: bool = True
    half_lit: bool = False


class Footage(Protocol):
    """Frames in order. ``unknown`` names what a camera of ours would have said and this footage does not."""

    @property
    def description(self) -> CameraDescription:
        """Fixed figures; where something is unknown, what was assumed."""

    @property
    def calibration(self) -> Calibration:
        """The footage's own, or an assumed one."""

    @property
    def unknown(self) -> tuple[str, ...]:
        """What was assumed, in words for people."""

    def __len__(self) -> int:
        """Frames there are."""

    def time_ns(self, number: int) -> int:
        """When frame ``number`` was taken, after the first; rises."""

    def read(self, number: int, out: Counts) -> Taken:
        """Put the counts of frame ``number`` into ``out``, (height, width) uint16; raises Refused where the file is damaged."""

    def close(self) -> None:
        """Close files; may be called twice."""


def check_size(name: str, width: int, height: int) -> None:
    """Raise Refused for pictures too small or large to be worked on."""
    if not (SMALLEST_PX <= width <= LARGEST_PX and SMALLEST_PX <= height <= LARGEST_PX):
        raise Refused(
            f"{name}: pictures of this size cannot be replayed",
            f"{width} x {height}",
            f"give {SMALLEST_PX} to {LARGEST_PX} pixels each way",
        )
