"""What a step measured, until someone keeps or discards it: a tray with the folders of the data folder, one thing in it at a time.

It survives a restart. Keeping is one rename, so a calibration is there whole or not at all.
"""

import shutil
from dataclasses import replace
from pathlib import Path

from shared.commissioning import calibration_folder as camera
from shared.data_folder import writable
from shared.errors import Refused
from shared.optics import light_output
from shared.optics.light_output import LightOutput
from shared.protocol.commissioning import Walk
from shared.recording.durable import sync_folder

TRAY = Path("calibration") / "proposed"
"""Within the data folder."""


def tray(data_folder: Path) -> Path:
    """Where to keep what a step measured, as if it were the data folder; emptied."""
    folder = data_folder / TRAY
    shutil.rmtree(folder, ignore_errors=True)
    return folder


def camera_proposal(data_folder: Path, sensor: str) -> tuple[str, camera.Figures] | None:
    """Name and figures of the calibration in the tray; None where there is none. Raises Refused for one that is damaged."""
    found = camera.listed(data_folder / TRAY, sensor)
    return found[0] if found else None


def light_proposal(data_folder: Path, ring: str) -> LightOutput | None:
    """Light output in the tray; None where there is none. Raises Refused for one that is damaged."""
    return light_output.newest(data_folder / TRAY, ring)


def step_of(figures: camera.Figures) -> Walk:
    """The step that a calibration in the tray was made by: the one taken last."""
    return max(figures.taken, key=lambda one: one.made_at).step


def discard(data_folder: Path) -> None:
    """Empty the tray."""
    shutil.rmtree(data_folder / TRAY, ignore_errors=True)


def keep(data_folder: Path, sensor: str, ring: str) -> None:
    """Keep what lies in the tray as the newest; raises Refused where nothing does, or a calibration was kept meanwhile."""
    proposed = camera_proposal(data_folder, sensor)
    if proposed is not None:
        _keep_camera(data_folder, sensor, *proposed)
    elif light_proposal(data_folder, ring) is not None:
        _keep_light(data_folder)
    else:
        raise Refused("no result waits to be kept", remedy="take a step first")
    discard(data_folder)


def _keep_camera(data_folder: Path, sensor: str, name: str, figures: camera.Figures) -> None:
    newest = next(iter(camera.listed(data_folder, sensor)), None)
    step = step_of(figures)
    if newest is not None and (newest[0] >= name or _without(newest[1], step) != _without(figures, step)):
        raise Refused(
            "another calibration was kept since this step began",
            newest[0],
            "discard this result, and take the step again",
        )
    _moved(data_folder / TRAY / camera.FOLDER / name, writable(data_folder / camera.FOLDER) / name)


def _without(figures: camera.Figures, step: Walk) -> camera.Figures:
    """What a calibration holds besides that step, however dated."""
    taken = tuple(sorted((one for one in figures.taken if one.step != step), key=lambda one: one.step))
    fields = {"taken": taken, "made_at": "0000-00-00T00:00:00Z", "again_from": "", "bit_depth": 16, step: None}
    return replace(figures, **fields)  # type: ignore[arg-type]


def _keep_light(data_folder: Path) -> None:
    folder = writable(data_folder / light_output.FOLDER)
    for path in sorted((data_folder / TRAY / light_output.FOLDER).iterdir()):  # .csv before .json, which makes it count
        _moved(path, folder / path.name)


def _moved(source: Path, target: Path) -> None:
    if target.exists():
        raise Refused("a calibration of that moment is kept already", target.name, "discard this result")
    try:
        source.rename(target)
        sync_folder(target.parent)
    except OSError as error:
        raise Refused(f"{target}: cannot be written ({error.strerror})", remedy="see that there is room") from None
