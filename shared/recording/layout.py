"""The words of the Zarr v3 specification and of OME-Zarr 0.5 in which a recording describes itself.

NAME.zarr/zarr.json          group: OME multiscales, and under "tapetum" what this device adds
NAME.zarr/image/             frames: (t, y, x) uint16 in shards, shards of whole frames (shard.py)
NAME.zarr/frames/<column>/   the frame table (table.py)
NAME.zarr/calibration/       planes dark_counts, flat, defects
NAME.zarr/events.jsonl       one event a line (events.py)
"""

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from shared.frame import CameraDescription
from shared.recording.frame_codec import CODECS

FORMAT = 1
"""Raised when a reader of the former form could no longer read a recording."""

OME_VERSION = "0.5"


def as_json(value: Mapping[str, Any]) -> bytes:
    """UTF-8 text of a metadata document."""
    return json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False).encode()


def group_metadata(attributes: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """A zarr v3 group."""
    return {"zarr_format": 3, "node_type": "group", "attributes": dict(attributes or {})}


def array_metadata(
    shape: Sequence[int],
    chunk_shape: Sequence[int],
    data_type: str,
    codecs: Sequence[Mapping[str, Any]],
    fill_value: Any,
    dimension_names: Sequence[str],
    attributes: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """A zarr v3 array on a regular grid with "/"-separated chunk keys."""
    fill = "NaN" if isinstance(fill_value, float) and math.isnan(fill_value) else fill_value
    return {
        "zarr_format": 3,
        "node_type": "array",
        "shape": list(shape),
        "data_type": data_type,
        "chunk_grid": {"name": "regular", "configuration": {"chunk_shape": list(chunk_shape)}},
        "chunk_key_encoding": {"name": "default", "configuration": {"separator": "/"}},
        "fill_value": fill,
        "codecs": [dict(codec) for codec in codecs],
        "dimension_names": list(dimension_names),
        "attributes": dict(attributes or {}),
    }


def image_metadata(frames: int, camera: CameraDescription, shard_frames: int) -> dict[str, Any]:
    """The (t, y, x) array of ``frames`` frames, ``shard_frames`` of them a file."""
    sharding = {
        "name": "sharding_indexed",
        "configuration": {
            "chunk_shape": [1, camera.height, camera.width],
            "codecs": [dict(codec) for codec in CODECS],
            "index_codecs": [{"name": "bytes", "configuration": {"endian": "little"}}, {"name": "crc32c"}],
            "index_location": "start",
        },
    }
    return array_metadata(
        (frames, camera.height, camera.width),
        (shard_frames, camera.height, camera.width),
        "uint16",
        [sharding],
        0,
        ("t", "y", "x"),
    )


def ome_metadata(camera: CameraDescription, name: str) -> dict[str, Any]:
    """OME-Zarr 0.5 "multiscales" with one scale. Space has a unit only where millimetres a pixel are known.

    The time scale is the nominal frame interval; true times stand in the frame table.
    """
    space: dict[str, Any] = {"type": "space"} | ({"unit": "millimeter"} if camera.mm_per_px else {})
    per_px = camera.mm_per_px or 1.0
    scale = [camera.frame_interval_us / 1e6, per_px, per_px]
    return {
        "version": OME_VERSION,
        "multiscales": [
            {
                "name": name,
                "axes": [
                    {"name": "t", "type": "time", "unit": "second"},
                    {"name": "y", **space},
                    {"name": "x", **space},
                ],
                "datasets": [
                    {"path": "image", "coordinateTransformations": [{"type": "scale", "scale": scale}]},
                ],
            }
        ],
    }
