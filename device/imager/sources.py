"""Which camera the imager runs on, and what comes with it. Each kind is imported only when it is asked for: a handheld
carries no scenes, a rehearsal no video decoder.
"""

import argparse
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from device.camera.source import Camera
from shared.calibration import Calibration
from shared.clock import Clock
from shared.settings import Settings


def _no_dye(_moment_ns: int) -> None:
    """Only a simulated patient has to be told."""


@dataclass(frozen=True)
class Source:
    """A camera not yet started, and what belongs to it.

    ``stamps_light`` says that its frames carry their own light level. ``on_injection`` tells a simulated patient when dye goes in;
    ``extra`` is kept with each recording; ``notes`` are sentences for the page, such as what is unknown of a replayed clip.
    """

    camera: Camera
    kind: Literal["picamera", "simulated", "replay"]
    calibration: Calibration
    stamps_light: bool
    on_injection: Callable[[int], None] = _no_dye
    extra: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def open_source(options: argparse.Namespace, settings: Settings, clock: Clock) -> Source:
    """The camera that options and settings name. Raises Refused where it cannot be had; nothing else is taken in its place."""
    if options.replay is not None:
        return _replayed(options, clock)
    if options.scene is not None:
        return _simulated(options, clock)
    from device.camera.picamera import open_picamera

    camera = open_picamera(settings.camera, clock)
    calibration = Calibration.assumed(camera.description)
    return Source(camera, "picamera", calibration, stamps_light=False)


def _simulated(options: argparse.Namespace, clock: Clock) -> Source:
    from device.camera.simulated import SimulatedCamera
    from device.light.simulated import RING_NAME, SimulatedRingReader
    from shared.scene.description import Scene, scene_path

    path = scene_path(options.scene)
    ring = SimulatedRingReader(options.run_dir / RING_NAME)
    camera = SimulatedCamera(Scene.load(path), options.seed, clock, ring)
    extra = {"scene": path.read_text(encoding="utf-8"), "seed": options.seed}
    return Source(camera, "simulated", camera.calibration, True, lambda moment_ns: camera.inject(moment_ns), extra)


def _replayed(options: argparse.Namespace, clock: Clock) -> Source:
    from device.camera.replay import open_replay

    camera = open_replay(options.replay, fps=options.fps, loop=True, clock=clock)
    calibration = camera.calibration or Calibration.assumed(camera.description)
    notes = tuple(f"replay: {one}" for one in camera.footage.unknown)
    return Source(camera, "replay", calibration, True, notes=notes)
