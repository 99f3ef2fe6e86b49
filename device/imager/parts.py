"""What an imager is made of, so that the same loop runs on the real, the simulated and a replayed device."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from device.camera.source import Camera
from device.imager.operator_light import OperatorLight
from device.light.link import LightLink
from device.live import LivePath
from device.recorder import Recorder
from shared.calibration import Calibration
from shared.clock import Clock
from shared.frame_bus import FrameBusWriter
from shared.settings import Settings


def _no_dye(_moment_ns: int) -> None:
    """Only a simulated patient has to be told."""


@dataclass(frozen=True)
class Parts:
    """Everything the loop and the requests work with. ``stamps_light`` says that the camera itself knows the light of each frame.

    ``on_injection`` tells a simulated patient when dye goes in; ``extra`` is kept with each recording; ``notes`` are sentences
    for the page that hold as long as the imager runs, such as what is unknown of a replayed clip.
    """

    camera: Camera
    kind: Literal["picamera", "simulated", "replay"]
    calibration: Calibration
    link: LightLink
    light: OperatorLight
    live: LivePath
    recorder: Recorder
    bus: FrameBusWriter
    clock: Clock
    settings: Settings
    data_folder: Path
    stamps_light: bool
    on_injection: Callable[[int], None] = _no_dye
    extra: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
