"""Raw counts as a 16-bit TIFF stack, in the form ImageJ reads frame interval and scale from."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import tifffile

from device.export.delivery import Delivery
from device.export.sizes import stack_bytes
from shared.frame import Counts
from shared.recording import Recording

CLASSIC_LARGEST_BYTES = (1 << 32) - (1 << 25)
"""A classic TIFF holds 4 GiB; some is left for its tags."""


def write_stack(filling: Delivery, recording: Recording, on_progress: Callable[[float], None]) -> list[str]:
    """Write frames.tif and return the names made.

    Over 4 GiB it becomes a BigTIFF, which ImageJ's importers read too; on FAT, which holds no file that large, frames-1.tif,
    frames-2.tif and so on.
    """
    whole = stack_bytes(recording)
    if whole <= CLASSIC_LARGEST_BYTES or filling.largest_file_bytes is None:
        _write(
            filling.make("frames.tif"), recording, 0, recording.frames, on_progress, big=whole > CLASSIC_LARGEST_BYTES
        )
        return ["frames.tif"]
    a_file = max((CLASSIC_LARGEST_BYTES - 4096) // (recording.camera.width * recording.camera.height * 2), 1)
    names: list[str] = []
    for number, first in enumerate(range(0, recording.frames, a_file), 1):
        names.append(f"frames-{number}.tif")
        last = min(first + a_file, recording.frames)
        _write(filling.make(names[-1]), recording, first, last, on_progress, big=False)
    return names


def _write(
    path: Path, recording: Recording, first: int, last: int, on_progress: Callable[[float], None], big: bool
) -> None:
    camera = recording.camera

    def frames() -> Iterator[Counts]:
        for number in range(first, last):
            yield recording.pixels(number)
            on_progress((number + 1) / recording.frames)

    interval_s = _interval_s(recording)
    metadata: dict[str, object] = {"axes": "TYX", "finterval": interval_s, "fps": 1.0 / interval_s, "tunit": "s"}
    resolution = None
    if camera.mm_per_px:
        metadata["unit"] = "mm"
        resolution = (1.0 / camera.mm_per_px, 1.0 / camera.mm_per_px)
    with tifffile.TiffWriter(path, imagej=not big, bigtiff=big) as file:
        file.write(
            frames(),
            shape=(last - first, camera.height, camera.width),
            dtype=np.uint16,
            photometric="minisblack",
            resolution=resolution,
            resolutionunit="NONE" if resolution else None,
            metadata=metadata,
            software=recording.software or None,
        )


def _interval_s(recording: Recording) -> float:
    """Median time between frames, as measured by the sensor."""
    times = recording.frame_table.sensor_time_ns
    if len(times) < 2:
        return recording.camera.frame_interval_us / 1e6
    return float(np.median(np.diff(times))) / 1e9
