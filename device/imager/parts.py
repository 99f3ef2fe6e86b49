"""What an imager is made of, so that the same loop runs on the real, the simulated and a replayed device."""

from dataclasses import dataclass
from pathlib import Path

from device.imager.operator_light import OperatorLight
from device.imager.sources import Source
from device.light.link import LightLink
from device.live import LivePath
from device.recorder import Recorder
from shared.clock import Clock
from shared.frame_bus import FrameBusWriter
from shared.settings import Settings


@dataclass(frozen=True)
class Parts:
    """Everything the loop and the requests work with."""

    source: Source
    link: LightLink
    light: OperatorLight
    live: LivePath
    recorder: Recorder
    bus: FrameBusWriter
    clock: Clock
    settings: Settings
    data_folder: Path
