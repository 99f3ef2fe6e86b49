"""Reads a recording: one that was closed, one that was cut off, or one that is still being written."""

import math
from collections import OrderedDict
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Self

import numpy as np
from numpy.typing import NDArray

from shared.bounded import Length, filled
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Counts, Frame
from shared.half_lit import half_lit
from shared.recording.events import Event, read_events
from shared.recording.frame_codec import Unpack, unpack_frame
from shared.recording.layout import FORMAT
from shared.recording.planes import read_document, read_planes
from shared.recording.shard import SHARD_FRAMES, ShardReader
from shared.recording.table import FrameTable, read_table

_UNKNOWN_EXPOSURE_US = 1000.0
_OPEN_SHARDS = 4
_SUSPECT_SHARDS = 3
"""What a cut of power may have left half written: the last second, so two shards at 120 frames a second, and one to spare."""


@dataclass(frozen=True)
class _About:
    format: int
    camera: CameraDescription
    started_at: Annotated[str, Length(0, 40)]
    complete: bool
    frames: int | None = None
    case: Annotated[str, Length(0, 40)] = ""
    software: str = ""
    extra: dict[str, object] | None = None
    unknown: tuple[str, ...] = ()


class Recording:
    """An open recording; close it, or use it in a ``with``. Frames and table are read-only; one thread at a time."""

    def __init__(self, path: Path, about: _About, unpack: Unpack = unpack_frame) -> None:
        self.path = path
        self._unpack = unpack
        self.camera = about.camera
        self.complete = about.complete
        self.started_at = about.started_at
        self.case = about.case
        self.software = about.software
        self.extra: dict[str, Any] = dict(about.extra or {})
        self.unknown = about.unknown
        self.events: tuple[Event, ...] = read_events(path / "events.jsonl", about.complete)
        self._shards: OrderedDict[int, ShardReader] = OrderedDict()
        table = read_table(path / "frames", nan_is_unknown=bool(about.unknown))
        self.frames = self._declared(about.frames, table) if about.complete else self._present(table)
        self.frame_table: FrameTable = table.cut(self.frames)

    @classmethod
    def open(cls, path: Path, *, planes: bool = True, unpack: Unpack = unpack_frame) -> Self:
        """Open the folder ``path``.

        A recording that was cut off (``complete`` is then False) opens with the frames that are really there. Without ``planes``
        its calibration is read, and checked, when it is first asked for: most of the time of opening is theirs. ``unpack`` is for
        whoever needs many frames (``unpacking.FrameUnpacker``). Raises Refused naming file, place and remedy where there is no
        recording, or a damaged one.
        """
        path = Path(path)
        if not path.is_dir():
            what = "a recording is a folder, this is a file" if path.exists() else "no such recording"
            raise Refused(what, str(path), "name a folder that ends in .zarr")
        root = path / "zarr.json"
        if not root.exists():
            raise Refused(
                "this folder is not a recording, it has no zarr.json", str(path), "name one that ends in .zarr"
            )
        own = read_document(root).get("attributes", {}).get("tapetum")
        if not isinstance(own, dict):
            raise Refused(
                f"{root}: zarr, but not a recording of this device", remedy="name a recording made by tapetum"
            )
        if own.get("format") != FORMAT:
            raise Refused(f"{root}: format of a recording", own.get("format"), f"this version reads format {FORMAT}")
        opened = cls(path, filled(_About, own, str(root), "attributes.tapetum"), unpack)
        if planes:
            _ = opened.calibration
        return opened

    @cached_property
    def calibration(self) -> Calibration:
        """As it was when the recording was made."""
        return read_planes(self.path / "calibration", self.camera)

    @property
    def name(self) -> str:
        """Folder name without its ending."""
        return self.path.stem

    @property
    def duration_s(self) -> float:
        """From the first frame to the end of the last one's interval."""
        if not self.frames:
            return 0.0
        times = self.frame_table.sensor_time_ns
        return float(times[-1] - times[0]) / 1e9 + self.camera.frame_interval_us / 1e6

    @property
    def gaps(self) -> int:
        """Frames that the sensor gave within the recording and that are not in it."""
        return self.frame_table.missing

    @property
    def size_bytes(self) -> int:
        """What the folder takes on disk."""
        return sum(file.stat().st_size for file in self.path.rglob("*") if file.is_file())

    @cached_property
    def half_lit(self) -> NDArray[np.bool_]:
        """Frames during which the light changed, (frames,): as was known when they were taken, as their levels show, or as it was
        heard of too late.
        """
        table, rolling = self.frame_table, self.camera.shutter == "rolling"
        found = table.half_lit | half_lit(table.levels, rolling)
        exposed_us = np.nan_to_num(table.exposure_us, nan=_UNKNOWN_EXPOSURE_US)
        starts_ns = table.sensor_time_ns - np.rint(1000.0 * exposed_us).astype(np.int64)
        ends_ns = table.sensor_time_ns + (round(1000.0 * self.camera.frame_interval_us) if rolling else 0)
        for event in self.events:
            if event.kind == "light":
                found |= (starts_ns < event.time_ns) & (event.time_ns < ends_ns)
        return found

    @property
    def injections(self) -> tuple[Event, ...]:
        """Marks of injections that were not undone, in the order given; earlier ones than the recording may be among them."""
        marks: list[Event] = []
        for event in self.events:
            if event.kind == "injection":
                marks.append(event)
            elif event.kind == "injection undone" and marks:
                marks.pop()
        return tuple(marks)

    @property
    def injected_at_ns(self) -> int | None:
        """Sensor time of the last injection that was not undone; None where none was marked."""
        marks = self.injections
        return marks[-1].time_ns if marks else None

    def pixels(self, number: int) -> Counts:
        """Counts (height, width) uint16 of frame ``number``; raises IndexError, or Refused where the file is damaged."""
        if not 0 <= number < self.frames:
            raise IndexError(f"frame {number} of {self.frames}")
        return self._shard(number // SHARD_FRAMES).frame(number % SHARD_FRAMES)

    def frame(self, number: int) -> Frame:
        """Frame ``number``, counted from 0 in the order stored; raises like ``pixels``.

        Where nobody knows exposure, gain or light (NaN in the table), 1 ms, 1 and 1 stand in for every frame alike, and so cancel
        in whatever is relative. The exposure is short so that the frame's middle is its own time: as long as the frame interval,
        it would put everything half an interval too early.
        """
        table = self.frame_table
        return Frame(
            pixels=self.pixels(number),
            sequence=int(table.sequence[number]),
            sensor_time_ns=int(table.sensor_time_ns[number]),
            exposure_us=_known(table.exposure_us[number], _UNKNOWN_EXPOSURE_US),
            gain=_known(table.gain[number], 1.0),
            light_level=_known(table.light_level[number], 1.0),
            lit=bool(table.lit[number]),
            half_lit=bool(self.half_lit[number]),
        )

    def __len__(self) -> int:
        return self.frames

    def close(self) -> None:
        """Close the files; may be called twice."""
        while self._shards:
            self._shards.popitem()[1].close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # ---- pieces -----------------------------------------------------------------------------------------------------

    def _shard_path(self, number: int) -> Path:
        return self.path / "image" / "c" / str(number) / "0" / "0"

    def _shard(self, number: int) -> ShardReader:
        if number in self._shards:
            self._shards.move_to_end(number)
            return self._shards[number]
        path = self._shard_path(number)
        try:
            shard = ShardReader(path, self.camera.shape, self._unpack)
        except OSError as error:
            raise Refused(f"{path}: cannot be read ({error.strerror})", remedy="copy the recording again") from None
        self._shards[number] = shard
        if len(self._shards) > _OPEN_SHARDS:
            self._shards.popitem(last=False)[1].close()
        return shard

    def _declared(self, frames: int | None, table: FrameTable) -> int:
        if frames is None or frames > len(table):
            raise Refused(
                f"{self.path}: the frame table has {len(table)} rows for {frames} frames",
                remedy="copy the recording again from where it was made",
            )
        return frames

    def _present(self, table: FrameTable) -> int:
        """Frames that both table and shards hold; the last shards are checked frame by frame."""
        shards = -(-len(table) // SHARD_FRAMES)
        for number in range(shards):
            found = self._whole(number, check=number >= shards - _SUSPECT_SHARDS)
            if found < SHARD_FRAMES:
                return min(number * SHARD_FRAMES + found, len(table))
        return len(table)

    def _whole(self, number: int, check: bool) -> int:
        path = self._shard_path(number)
        if not path.exists():
            return 0
        with ShardReader(path, self.camera.shape) as shard:
            if not check:
                return shard.present
            return next((slot for slot in range(shard.present) if not shard.whole(slot)), shard.present)


def _known(value: float, instead: float) -> float:
    return instead if math.isnan(value) else float(value)
