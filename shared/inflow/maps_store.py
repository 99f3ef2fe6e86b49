"""Maps inside a recording: a zarr group ``maps`` beside the frames, which any reader of Zarr v3 opens.

maps/zarr.json                    group: reference, injection, size of a bin, classes in words
maps/<parameter>/                 float32 (y, x), nan where not measured; attributes: unit, definition
maps/<parameter>_u/               float32, one standard uncertainty
maps/<parameter>_class/           uint8, index into the group's ``classes``
"""

import shutil
from pathlib import Path
from typing import Any

import numpy as np

from shared.bounded import filled
from shared.errors import Refused
from shared.inflow.map_values import CLASS_WORDS, NAMES, PARAMETERS, InflowMaps, MapsAbout
from shared.recording.durable import sync_folder
from shared.recording.layout import as_json, group_metadata
from shared.recording.planes import read_document, read_plane, write_plane

FOLDER = "maps"


def write_maps(recording: Path, maps: InflowMaps) -> None:
    """Put ``maps`` into the folder of a recording, all or nothing, in place of older ones. Raises OSError where the disk fails."""
    growing, final = recording / f".{FOLDER}.new", recording / FOLDER
    shutil.rmtree(growing, ignore_errors=True)
    growing.mkdir()
    about = maps.about
    attributes: dict[str, Any] = {
        "reference": about.reference,
        "injected": about.injected,
        "since_s": about.since_s,
        "frames": about.frames,
        "motion_followed": about.motion_followed,
        "notes": list(about.notes),
        "baseline_note": about.baseline_note,
    }
    (growing / "zarr.json").write_bytes(
        as_json(group_metadata({"tapetum_maps": attributes, "classes": list(CLASS_WORDS), "pixels_a_bin": [2, 2]}))
    )
    for k, parameter in enumerate(PARAMETERS):
        words = {"unit": parameter.unit, "definition": parameter.definition}
        write_plane(growing / parameter.name, maps.values[k], "float32", words)
        uncertain = {"unit": parameter.unit, "definition": f"one standard uncertainty of {parameter.name}"}
        write_plane(growing / f"{parameter.name}_u", maps.u[k], "float32", uncertain)
        write_plane(growing / f"{parameter.name}_class", maps.classes[k], "uint8", {"classes": list(CLASS_WORDS)})
    shutil.rmtree(final, ignore_errors=True)
    growing.rename(final)
    sync_folder(recording)


def has_maps(recording: Path) -> bool:
    """Whether a recording's folder holds maps."""
    return (recording / FOLDER / "zarr.json").is_file()


def read_maps(recording: Path) -> InflowMaps:
    """The maps of a recording's folder; raises Refused naming the file where there are none or they are damaged."""
    folder = recording / FOLDER
    attributes = read_document(folder / "zarr.json").get("attributes", {})
    about = filled(MapsAbout, attributes.get("tapetum_maps", {}), str(folder / "zarr.json"))
    shape = read_document(folder / NAMES[0] / "zarr.json").get("shape")
    if not (isinstance(shape, list) and len(shape) == 2 and all(isinstance(side, int) and side > 0 for side in shape)):
        raise Refused(f"{folder / NAMES[0]}: damaged, no shape of two sides", remedy="make the maps again")
    size = (int(shape[0]), int(shape[1]))

    def stacked(ending: str, dtype: str) -> Any:
        return np.stack([read_plane(folder / f"{name}{ending}" / "c" / "0" / "0", dtype, size) for name in NAMES])

    return InflowMaps(stacked("", "<f4"), stacked("_u", "<f4"), stacked("_class", "|u1"), about)
