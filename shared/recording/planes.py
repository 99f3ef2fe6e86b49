"""Calibration inside a recording: planes as zarr arrays of one chunk, figures as attributes of their group."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numcodecs import blosc
from numpy.typing import NDArray

from shared.bounded import Length, Within, filled, plain
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription
from shared.recording.layout import array_metadata, as_json, group_metadata

_PLANES = {"dark_counts": ("float32", "<f4"), "flat": ("float32", "<f4"), "defects": ("bool", "|b1")}
_REMEDY = "copy the recording again from where it was made"


@dataclass(frozen=True)
class _Figures:
    counts_per_electron: Annotated[float, Within(1e-9, 1e9)]
    read_noise_electrons: Annotated[float, Within(0, 1e9)]
    saturation_counts: Annotated[int, Within(1, 65535)]
    light_output: Annotated[tuple[tuple[float, float], ...], Length(1, 1000)]
    origin: Literal["commissioned", "scene truth", "assumed"]
    made_at: str = field(default="")
    light_measured_at: str = field(default="")


def write_planes(folder: Path, calibration: Calibration) -> None:
    """Write the group at ``folder`` (created)."""
    folder.mkdir()
    figures = _Figures(
        counts_per_electron=float(calibration.counts_per_electron),
        read_noise_electrons=float(calibration.read_noise_electrons),
        saturation_counts=int(calibration.saturation_counts),
        light_output=calibration.light_output,
        origin=calibration.origin,
        made_at=calibration.made_at,
        light_measured_at=calibration.light_measured_at,
    )
    (folder / "zarr.json").write_bytes(as_json(group_metadata(plain(figures))))
    for name, (data_type, dtype) in _PLANES.items():
        plane = np.ascontiguousarray(getattr(calibration, name), dtype)
        write_plane(folder / name, plane, data_type)


def read_planes(folder: Path, camera: CameraDescription) -> Calibration:
    """The calibration again; raises Refused naming the file that is damaged."""
    document = read_document(folder / "zarr.json")
    figures = filled(_Figures, document.get("attributes", {}), str(folder / "zarr.json"))
    values: dict[str, Any] = {name: getattr(figures, name) for name in _Figures.__dataclass_fields__}
    for name, (_, dtype) in _PLANES.items():
        values[name] = read_plane(folder / name / "c" / "0" / "0", dtype, camera.shape)
    return Calibration(camera=camera, **values)


def read_document(path: Path) -> dict[str, Any]:
    """A zarr.json file; raises Refused naming file, and place where it is not JSON."""
    try:
        document = json.loads(path.read_bytes())
    except FileNotFoundError:
        raise Refused(f"{path}: missing", remedy=_REMEDY) from None
    except OSError as error:
        raise Refused(f"{path}: cannot be read ({error.strerror})", remedy=_REMEDY) from None
    except UnicodeDecodeError as error:
        raise Refused(f"{path}: not UTF-8 text at byte {error.start}", remedy=_REMEDY) from None
    except json.JSONDecodeError as error:
        raise Refused(f"{path}: not JSON at byte {error.pos}", remedy=_REMEDY) from None
    if not isinstance(document, dict) or document.get("zarr_format") != 3:
        raise Refused(f"{path}: not zarr v3 metadata", remedy=_REMEDY)
    return document


def write_plane(folder: Path, plane: NDArray[Any], data_type: str, attributes: Mapping[str, Any] | None = None) -> None:
    """Write a (height, width) plane of bool, uint8 or float32 as the zarr array ``folder`` (created), in one chunk."""
    plane = np.ascontiguousarray(plane)
    typesize = plane.itemsize
    shuffle = "shuffle" if typesize > 1 else "bitshuffle"
    compression = {"typesize": typesize, "cname": "lz4", "clevel": 5, "shuffle": shuffle, "blocksize": 0}
    to_bytes: Mapping[str, Any] = {"name": "bytes", "configuration": {"endian": "little"}}
    if typesize == 1:
        to_bytes = {"name": "bytes"}
    fill: Any = {"bool": False, "uint8": 0}.get(data_type, 0.0)
    metadata = array_metadata(
        plane.shape,
        plane.shape,
        data_type,
        [to_bytes, {"name": "blosc", "configuration": compression}],
        fill,
        ("y", "x"),
        attributes,
    )
    (folder / "c" / "0").mkdir(parents=True)
    (folder / "zarr.json").write_bytes(as_json(metadata))
    mode = blosc.SHUFFLE if typesize > 1 else blosc.BITSHUFFLE
    packed = blosc.compress(plane, b"lz4", 5, mode, 0)
    (folder / "c" / "0" / "0").write_bytes(packed)


def read_plane(path: Path, dtype: str, shape: tuple[int, int]) -> NDArray[Any]:
    """The (height, width) plane in a file that ``write_plane`` made; raises Refused naming one that is damaged."""
    try:
        stored = path.read_bytes()
    except OSError as error:
        raise Refused(f"{path}: cannot be read ({error.strerror})", remedy=_REMEDY) from None
    try:
        plane = np.frombuffer(blosc.decompress(stored), dtype)
    except (RuntimeError, ValueError) as error:
        raise Refused(f"{path}: damaged ({error})", remedy=_REMEDY) from None
    if plane.size != shape[0] * shape[1]:
        raise Refused(f"{path}: damaged, holds {plane.size} values instead of {shape[0] * shape[1]}", remedy=_REMEDY)
    return plane.reshape(shape).copy()
