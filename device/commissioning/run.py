"""Runs a step on a device and keeps what it found as the newest calibration."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from device.commissioning.bench import Bench
from device.commissioning.step import Step
from shared.commissioning.calibration_folder import FOLDER, Figures, Kept, Taken, keep, newest
from shared.commissioning.proposal import tray
from shared.data_folder import writable
from shared.errors import Refused
from shared.frame import CameraDescription
from shared.protocol.control import State
from shared.recording import Recording

READING = "the light is off; reading the frames"


@dataclass(frozen=True)
class Done:
    """A step that was taken, and where its calibration is kept."""

    step: Step
    kept: Kept
    path: Path
    recording: str


def in_force(state: State) -> Kept:
    """The newest calibration of the device's own sensor, or an empty one.

    Raises Refused where it is damaged, or of another frame size than the device's now.
    """
    found = newest(Path(state.data_folder), sensor(state))
    if found is not None:
        found.figures.require_size(state.camera.width, state.camera.height)
    size = CameraDescription(state.camera.model, state.camera.width, state.camera.height)
    return found or Kept("", Figures.empty(sensor(state), size))


def sensor(state: State) -> str:
    """Whose calibration it is; raises Refused where there is no sensor to calibrate."""
    if not state.sensor:
        raise Refused("a replayed device has no sensor to calibrate", state.camera.kind, "run a real or simulated one")
    return state.sensor


def take(
    step: Step,
    bench: Bench,
    now: Callable[[], str],
    propose: bool = False,
    walked: Callable[[], object] = lambda: None,
) -> Done:
    """Walk, read, and keep, or ``propose``: leave the result in the tray. ``walked`` is called when the device is needed no more.

    Raises Refused with the reason, light off, exposure and simulated target as they were.
    """
    state = bench.fit()
    kept = in_force(state)
    step.check(kept)
    data_folder = Path(state.data_folder)
    writable(data_folder / FOLDER)  # before anything is lit for nothing
    recordings = data_folder / "recordings"
    with bench.put_back():
        bench.target(step.target)
        name = step.walk(bench, recordings)
    made_at = now()
    bench.say(READING)
    walked()
    with Recording.open(recordings / f"{name}.zarr") as recording:
        reading = step.read(recording, kept)
        sized = Kept(kept.name, _sized(kept.figures, recording.camera), kept.planes)
    changed = sized.with_step(step.name, reading.found, reading.planes, Taken(step.name, made_at, name))
    path = keep(tray(data_folder) if propose else data_folder, changed, reading.evidence)
    return Done(step, Kept(path.name, changed.figures, changed.planes), path, name)


def _sized(figures: Figures, camera: CameraDescription) -> Figures:
    return replace(figures, bit_depth=camera.bit_depth)
