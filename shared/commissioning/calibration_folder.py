"""Calibrations as they are kept: one dated folder each, complete in itself. The newest of a sensor is the one in force.

``calibration/camera/2026-11-25T18-00-00Z/`` in the device's data folder holds ``calibration.json`` (figures, and when each step was
taken), ``planes.npz`` (numpy's own format) and ``evidence/`` of the step that made it. A step takes over from the calibration
before it what it does not measure. Nothing is changed afterwards or removed: to go back, an older one is kept again, newly dated.
"""

import json
import os
import shutil
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Any, Self

import numpy as np
from numpy.typing import NDArray

from shared.bounded import Length, Within, filled, plain
from shared.calibration import Calibration
from shared.commissioning.dark import Dark
from shared.commissioning.defects import Defects
from shared.commissioning.detection_limit import Sensitivity
from shared.commissioning.flat import Flat
from shared.commissioning.gain import Gain
from shared.commissioning.grid_scale import Scale
from shared.commissioning.leakage import Leakage
from shared.commissioning.slanted_edge import Sharpness
from shared.commissioning.step_name import StepName
from shared.data_folder import unwritable, writable
from shared.errors import Refused
from shared.frame import CameraDescription
from shared.recording.durable import replace_file, sync_folder

VERSION = 1
FOLDER = Path("calibration") / "camera"
"""Within the data folder."""
FIGURES = "calibration.json"
PLANES = "planes.npz"

NEEDED: tuple[StepName, ...] = ("dark", "defects", "flat", "gain")
"""Without one of these a calibration stays partly assumed."""


@dataclass(frozen=True)
class Taken:
    """When a step was taken, from which recording; its evidence lies in the folder of that date."""

    step: StepName
    made_at: Annotated[str, Length(20, 20)]
    recording: Annotated[str, Length(1, 120)]


@dataclass(frozen=True)
class Figures:
    """What is written as JSON. ``sensor`` says whose it is; ``again_from`` names the older one that this repeats, mostly empty."""

    made_at: Annotated[str, Length(20, 20)]
    sensor: Annotated[str, Length(1, 120)]
    width: Annotated[int, Within(16, 8192)]
    height: Annotated[int, Within(16, 8192)]
    bit_depth: Annotated[int, Within(8, 16)]
    taken: Annotated[tuple[Taken, ...], Length(0, 20)] = ()
    dark: Dark | None = None
    defects: Defects | None = None
    flat: Flat | None = None
    gain: Gain | None = None
    scale: Scale | None = None
    sharpness: Sharpness | None = None
    leakage: Leakage | None = None
    sensitivity: Sensitivity | None = None
    again_from: Annotated[str, Length(0, 40)] = ""
    version: Annotated[int, Within(VERSION, VERSION)] = VERSION

    @classmethod
    def empty(cls, sensor: str, camera: CameraDescription) -> Self:
        """Of a sensor of which nothing is known."""
        return cls("0000-00-00T00:00:00Z", sensor, camera.width, camera.height, camera.bit_depth)

    def of(self, step: StepName) -> Any:
        """Figures of one step; None where it was not taken."""
        return getattr(self, step)

    def require_size(self, width: int, height: int) -> None:
        """Raise Refused, naming both, where frames of ``width`` x ``height`` are not what this was measured on."""
        if (self.width, self.height) != (width, height):
            raise Refused(
                "the newest calibration is of another frame size",
                f"{self.width} x {self.height}, where the camera gives {width} x {height}",
                "set camera.width and height as they were, or take that calibration away",
            )

    @property
    def missing(self) -> tuple[StepName, ...]:
        """Steps without which counts are still partly corrected by assumption."""
        return tuple(step for step in NEEDED if self.of(step) is None)


Planes = Mapping[str, NDArray[Any]]


@dataclass(frozen=True, eq=False)
class Kept:
    """A calibration: its folder's name (empty before it was ever kept), figures, and planes by name, (height, width) each.

    Planes: ``dark_counts`` and ``dark_variance`` (float32), ``defects`` (bool), ``flat`` (float32).
    """

    name: str
    figures: Figures
    planes: Planes = field(default_factory=dict)

    def with_step(self, step: StepName, found: Any, planes: Planes, taken: Taken) -> Self:
        """The same with one step taken anew."""
        others = tuple(one for one in self.figures.taken if one.step != step)
        changed: dict[str, Any] = {step: found}
        figures = replace(self.figures, made_at=taken.made_at, taken=(*others, taken), again_from="", **changed)
        return replace(self, figures=figures, planes={**self.planes, **planes})

    def applied(self, base: Calibration) -> Calibration:
        """``base`` with everything that was measured in the place of what was assumed. Raises Refused for another frame size."""
        figures, planes = self.figures, self.planes
        figures.require_size(base.camera.width, base.camera.height)
        measured: dict[str, Any] = {
            name: np.array(planes[name]) for name in ("dark_counts", "flat", "defects") if name in planes
        }
        if figures.gain is not None:
            gain = figures.gain
            measured["counts_per_electron"] = gain.counts_per_electron
            measured["read_noise_electrons"] = gain.read_noise_electrons
            measured["saturation_counts"] = gain.saturates_at_counts
        if figures.scale is not None:
            measured["camera"] = replace(base.camera, mm_per_px=figures.scale.mm_per_px)
        origin = base.origin if figures.missing else "commissioned"
        return replace(base, made_at=figures.made_at, origin=origin, **measured)


def keep(data_folder: Path, kept: Kept, evidence: Mapping[str, bytes]) -> Path:
    """Write a calibration and the evidence of its newest step in one stroke; returns its folder.

    Raises Refused, having written nothing, where a figure lies outside its bounds: no later step could read it again.
    """
    figures = plain(kept.figures)
    filled(Figures, figures, "the result")
    parent = writable(data_folder / FOLDER)
    name = kept.figures.made_at.replace(":", "-")
    path = next(one for one in _names(parent, name) if not one.exists())
    unfinished = parent / f".{path.name}.new"
    try:
        shutil.rmtree(unfinished, ignore_errors=True)
        (unfinished / "evidence").mkdir(parents=True)
        for file, content in evidence.items():
            replace_file(unfinished / "evidence" / file, content)
        with (unfinished / PLANES).open("wb") as out:
            np.savez(out, **dict[str, Any](kept.planes))
            out.flush()
            os.fsync(out.fileno())
        replace_file(unfinished / FIGURES, json.dumps(figures, indent=1).encode())
        unfinished.rename(path)
        sync_folder(parent)
    except OSError as error:
        raise unwritable(path, error.strerror) from None
    return path


def _names(parent: Path, name: str) -> list[Path]:
    return [parent / name, *(parent / f"{name}-{number}" for number in range(2, 1000))]


def listed(data_folder: Path, sensor: str) -> list[tuple[str, Figures]]:
    """Name and figures of every calibration of ``sensor``, newest first. Raises Refused naming one that is damaged."""
    return list(_newest_first(data_folder, sensor))


def _newest_first(data_folder: Path, sensor: str) -> Iterator[tuple[str, Figures]]:
    for path in sorted((data_folder / FOLDER).glob("[0-9]*"), key=lambda path: path.name, reverse=True):
        figures = _figures(path)
        if figures.sensor == sensor:
            yield path.name, figures


def newest(data_folder: Path, sensor: str) -> Kept | None:
    """The calibration in force for ``sensor``; None where there is none. Raises Refused where it, or a newer one, is damaged."""
    found = next(_newest_first(data_folder, sensor), None)
    return None if found is None else load(data_folder, found[0])


def again(data_folder: Path, sensor: str, name: str, made_at: str) -> Path:
    """Keep the older calibration ``name`` once more, as the newest; returns its folder. Raises Refused for another sensor's."""
    older = load(data_folder, name)
    if older.figures.sensor != sensor:
        raise Refused("that calibration is of another sensor", older.figures.sensor, f"this one is {sensor}")
    figures = replace(older.figures, made_at=made_at, again_from=name)
    return keep(data_folder, replace(older, figures=figures), {})


def load(data_folder: Path, name: str) -> Kept:
    """The calibration of that name, whole; raises Refused where there is none, or it is damaged."""
    path = data_folder / FOLDER / name
    if "/" in name or not (path / FIGURES).is_file():
        raise Refused("no such calibration", name, "choose one of: tapetum calibrate list")
    figures = _figures(path)
    try:
        with (path / PLANES).open("rb") as raw, np.load(raw, allow_pickle=False) as file:
            planes = {plane: file[plane] for plane in file.files}
    except (OSError, ValueError, EOFError, zipfile.BadZipFile) as error:
        raise _damaged(path / PLANES, error) from None
    for plane, values in planes.items():
        if values.shape != (figures.height, figures.width):
            raise Refused(f"{path}: plane {plane} has another size", values.shape, "take the folder away")
        if not np.isfinite(values).all() or (plane == "flat" and not float(values.min()) > 0):
            # no restart brings it into force, and every later step would take it over
            raise Refused(
                f"{path}: plane {plane} holds values that no picture can be corrected by",
                remedy="take that folder away, and restart the device: the calibration before it is in force again",
            )
    return Kept(name, figures, planes)


def _figures(path: Path) -> Figures:
    try:
        values = json.loads((path / FIGURES).read_bytes())
    except (OSError, ValueError) as error:
        raise _damaged(path / FIGURES, error) from None
    try:
        return filled(Figures, values, "figures")
    except Refused as refused:
        raise _damaged(path / FIGURES, f"{refused.what}: {refused.value}") from None


def _damaged(path: Path, error: object) -> Refused:
    return Refused(f"{path}: cannot be read ({error})", remedy="take that folder away, and calibrate again")
