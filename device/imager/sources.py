"""Which camera the imager runs on, and what comes with it. Each kind is imported only when it is asked for: a handheld
carries no scenes, a rehearsal no video decoder.
"""

import argparse
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from device.camera.source import Camera
from shared.calibration import Calibration
from shared.clock import Clock
from shared.commissioning import calibration_folder
from shared.errors import Refused
from shared.optics.light_output import newest
from shared.protocol.control import Target
from shared.settings import Settings


def _no_dye(_moment_ns: int) -> None:
    """Only a simulated patient has to be told."""


@dataclass(frozen=True)
class Source:
    """A camera not yet started, and what belongs to it.

    ``ring`` says whose light it sees, ``sensor`` whose pixels they are, both empty where that is past (a replay): what was measured
    belongs to them. ``on_target`` puts a target of commissioning before a simulated camera.
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
    ring: str = ""
    sensor: str = ""
    on_target: Callable[[Target], None] | None = None


def open_source(options: argparse.Namespace, settings: Settings, clock: Clock) -> Source:
    """The camera that options and settings name. Raises Refused where it cannot be had; nothing else is taken in its place."""
    if options.replay is not None:
        return _replayed(options, clock)
    if options.scene is not None:
        return _simulated(options, clock)
    from device.camera.picamera import open_picamera

    camera = open_picamera(settings.camera, clock)
    calibration = Calibration.assumed(camera.description)
    sensor = f"handheld {camera.description.model}"
    return Source(camera, "picamera", calibration, stamps_light=False, ring="handheld", sensor=sensor)


def _simulated(options: argparse.Namespace, clock: Clock) -> Source:
    from device.camera.simulated import SimulatedCamera
    from device.light.simulated_ring import RING_NAME, SimulatedRingReader
    from shared.scene.description import Scene, scene_path

    path = scene_path(options.scene)
    ring = SimulatedRingReader(options.run_dir / RING_NAME)
    scene = Scene.load(path)
    camera = SimulatedCamera(scene, options.seed, clock, ring)
    extra = {"scene": path.read_text(encoding="utf-8"), "seed": options.seed}
    return Source(
        camera,
        "simulated",
        camera.calibration,
        stamps_light=True,
        ring=f"simulated, droop {scene.light.droop:g}",
        sensor=f"simulated {camera.identity}",
        on_target=camera.show,
        on_injection=lambda moment_ns: camera.inject(moment_ns),
        extra=extra,
    )


def _replayed(options: argparse.Namespace, clock: Clock) -> Source:
    from device.camera.replay import open_replay

    camera = open_replay(options.replay, fps=options.fps, loop=True, clock=clock)
    calibration = camera.calibration or Calibration.assumed(camera.description)
    notes = tuple(f"replay: {one}" for one in camera.footage.unknown)
    return Source(camera, "replay", calibration, True, notes=notes)


def with_measured_light(source: Source, data_folder: Path) -> Source:
    """The source with the light output that was measured for its ring; one that cannot be read is said on the page, not used."""
    if not source.ring:
        return source
    try:
        found = newest(data_folder, source.ring)
    except Refused as refused:
        return replace(source, notes=(*source.notes, f"light output is assumed linear: {refused.line}"))
    if found is None:
        return source
    calibration = replace(source.calibration, light_output=found.table, light_measured_at=found.made_at)
    return replace(source, calibration=calibration)


def with_calibration(source: Source, data_folder: Path) -> Source:
    """The source with the newest calibration of its own sensor; what is still assumed, or cannot be read, is said on the page."""
    if not source.sensor:
        return source
    try:
        found = calibration_folder.newest(data_folder, source.sensor)
        if found is None:
            return source
        calibration = found.applied(source.calibration)
    except Refused as refused:
        return replace(source, notes=(*source.notes, f"no calibration is in force: {refused.line}"))
    if not found.figures.missing:
        return replace(source, calibration=calibration)
    note = f"the calibration of {found.figures.made_at} lacks {', '.join(found.figures.missing)}: go on with tapetum calibrate"
    return replace(source, calibration=calibration, notes=(*source.notes, note))
