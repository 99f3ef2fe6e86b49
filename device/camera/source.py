"""What the imager expects of a camera, whichever kind it is."""

from contextlib import AbstractContextManager
from typing import Protocol

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame


class CameraStalled(Exception):
    """No frame came in time."""


class EndOfFrames(Exception):
    """A replayed clip is over (a real camera never ends)."""


class LightSeen(Protocol):
    """Mean duty of the ring over a span of time, as known to whoever stamps frames."""

    def over(self, start_ns: int, end_ns: int) -> float:
        """Mean duty, 0 to 1, between two moments of the sensor's clock."""


class Camera(Protocol):
    """A started source of frames. ``next_frame`` lends its buffer for the length of the ``with``; keep nothing beyond it."""

    @property
    def description(self) -> CameraDescription:
        """Fixed figures of this camera, at the frame size in use."""

    @property
    def calibration(self) -> Calibration | None:
        """What this source itself knows (scene truth, or a recording's own); None: look in the calibration file."""

    def start(self) -> None:
        """Begin exposing."""

    def next_frame(self, timeout_s: float = 1.0) -> AbstractContextManager[Frame]:
        """Newest frame not yet lent; raises CameraStalled after ``timeout_s``, EndOfFrames when a clip is over."""

    def set_exposure(self, exposure_us: float, gain: float) -> None:
        """Ask for exposure and gain; later frames say what the sensor made of it."""

    def close(self) -> None:
        """Stop and free everything; may be called twice."""
