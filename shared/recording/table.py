"""The frame table: what is known of each frame beside its pixels, a zarr array a column.

Each column is uncompressed in chunks of ``CHUNK_ROWS`` rows, so a row is written in place. While a recording runs the columns are
declared to the end of their last chunk, rows not yet written holding the fill value (sequence -1); closing cuts them to length.
"""

import os
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from shared.errors import Refused
from shared.frame import Frame
from shared.recording.durable import replace_file, sync_folder, write_all
from shared.recording.layout import array_metadata, as_json, group_metadata

CHUNK_ROWS = 4096

_COLUMNS: Mapping[str, tuple[str, str, Any, str]] = {
    "sequence": ("int64", "<i8", -1, "counts every frame the sensor gave; a step of more than one is a gap"),
    "sensor_time_ns": ("int64", "<i8", -1, "when readout began, nanoseconds of the device's monotonic clock"),
    "exposure_us": ("float64", "<f8", float("nan"), "exposure, microseconds"),
    "gain": ("float64", "<f8", float("nan"), "gain, as a factor"),
    "light_level": ("float64", "<f8", float("nan"), "mean duty of the ring over the exposure, 0 to 1"),
    "lit": ("bool", "|b1", False, "whether the ring was on during the exposure"),
    "half_lit": ("bool", "|b1", False, "whether the ring was switched or dimmed during the exposure, or may have been"),
}
_LATER = frozenset({"half_lit"})
"""Columns that older recordings lack: they hold the fill value then."""

_CELLS = tuple(struct.Struct({"<i8": "<q", "<f8": "<d", "|b1": "<?"}[dtype]) for _, dtype, _, _ in _COLUMNS.values())


class FrameRow(NamedTuple):
    """What is known of one frame beside its pixels: ``Frame``'s fields of the same names, in the order of the columns."""

    sequence: int
    sensor_time_ns: int
    exposure_us: float
    gain: float
    light_level: float
    lit: bool
    half_lit: bool = False

    @classmethod
    def of(cls, frame: Frame) -> Self:
        """The row of ``frame``, which holds on to none of its pixels."""
        return cls(
            frame.sequence,
            frame.sensor_time_ns,
            frame.exposure_us,
            frame.gain,
            frame.light_level,
            frame.lit,
            frame.half_lit,
        )


@dataclass(frozen=True, eq=False)
class FrameTable:
    """One (frames,) array a column: int64, int64, float64, float64, float64, bool, bool."""

    sequence: NDArray[np.int64]
    sensor_time_ns: NDArray[np.int64]
    exposure_us: NDArray[np.float64]
    gain: NDArray[np.float64]
    light_level: NDArray[np.float64]
    lit: NDArray[np.bool_]
    half_lit: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.sequence)

    @property
    def missing(self) -> int:
        """Frames that the sensor gave between the first and the last row and that are not here."""
        return int(np.maximum(np.diff(self.sequence) - 1, 0).sum())

    @property
    def levels(self) -> NDArray[np.float64]:
        """Level of the ring in each frame: 0 where it was unlit, 1 where nothing is known of it."""
        return np.where(self.lit, np.nan_to_num(self.light_level, nan=1.0), 0.0)

    def cut(self, frames: int) -> "FrameTable":
        """The first ``frames`` rows."""
        return FrameTable(**{name: getattr(self, name)[:frames] for name in _COLUMNS})


class TableWriter:
    """Adds rows to the columns under ``folder`` (created)."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._rows = 0
        self._declared = -1
        self._handles: dict[str, int] = {}
        self._retired: list[int] = []
        for name in _COLUMNS:
            (folder / name).mkdir(parents=True)
        (folder / "zarr.json").write_bytes(as_json(group_metadata()))
        self.declare()

    def put(self, number: int, values: FrameRow) -> None:
        """Write row ``number``, the last one or the one behind it; flushes nothing."""
        row = number % CHUNK_ROWS
        if row == 0:
            self._start_chunk(number // CHUNK_ROWS)
        for handle, one, value in zip(self._handles.values(), _CELLS, values, strict=True):
            cell = one.pack(value)
            if os.pwritev(handle, (cell,), row * one.size) < one.size:
                write_all(handle, (cell,), row * one.size)
        self._rows = number + 1

    def handles(self) -> tuple[int, ...]:
        """Open files whose data must be flushed."""
        return *self._retired, *self._handles.values()

    def declare(self, exactly: int | None = None) -> None:
        """Tell other tools the length: the end of the last chunk, or ``exactly`` so many rows. Durable but for length 0."""
        rows = -(-self._rows // CHUNK_ROWS) * CHUNK_ROWS if exactly is None else exactly
        if rows == self._declared:
            return
        for name, (data_type, dtype, fill, meaning) in _COLUMNS.items():
            to_bytes: Mapping[str, Any] = {"name": "bytes", "configuration": {"endian": "little"}}
            if np.dtype(dtype).itemsize == 1:
                to_bytes = {"name": "bytes"}
            metadata = array_metadata(
                (rows,), (CHUNK_ROWS,), data_type, [to_bytes], fill, ("frame",), {"description": meaning}
            )
            replace_file(self._folder / name / "zarr.json", as_json(metadata), durable=rows > 0)
            if rows:
                sync_folder(self._folder / name / "c")
        self._declared = rows

    def close(self) -> None:
        """Close the files; may be called twice."""
        for handle in self.handles():
            os.close(handle)
        self._handles = {}
        self._retired = []

    def _start_chunk(self, number: int) -> None:
        opened: dict[str, int] = {}
        try:
            for name, (_, dtype, fill, _) in _COLUMNS.items():
                path = self._folder / name / "c" / str(number)
                path.parent.mkdir(exist_ok=True)
                opened[name] = os.open(path, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o644)
                write_all(opened[name], (np.full(CHUNK_ROWS, fill, dtype).tobytes(),), 0)
        except OSError:
            for handle in opened.values():
                os.close(handle)
            raise
        self._retired += self._handles.values()
        self._handles = opened


def read_table(folder: Path, nan_is_unknown: bool = False) -> FrameTable:
    """Rows written under ``folder``, up to the first that some column lacks; raises Refused for a column that cannot be read.

    With ``nan_is_unknown``, NaN stands for an exposure, gain or light level that nobody knows, and not for a missing row.
    """
    columns = {name: _read_column(folder / name, dtype) for name, (_, dtype, _, _) in _COLUMNS.items()}
    for name in _LATER:
        if not (folder / name).exists():
            _, dtype, fill, _ = _COLUMNS[name]
            columns[name] = np.full(len(columns["sequence"]), fill, dtype)
    unwritten = np.flatnonzero(columns["sequence"] < 0)
    rows = min(len(column) for column in columns.values())
    rows = min(rows, int(unwritten[0])) if unwritten.size else rows
    for name in ("sensor_time_ns", "exposure_us", "gain", "light_level"):
        column = columns[name][:rows]
        known = np.isfinite(column) | (nan_is_unknown & np.isnan(column))
        bad = np.flatnonzero(~known | (column < 0))
        rows = int(bad[0]) if bad.size else rows
    return FrameTable(**columns).cut(rows)


def _read_column(folder: Path, dtype: str) -> NDArray[Any]:
    parts: list[bytes] = []
    width = np.dtype(dtype).itemsize
    while True:
        path = folder / "c" / str(len(parts))
        try:
            stored = path.read_bytes()
        except FileNotFoundError:
            break
        except OSError as error:
            raise Refused(f"{path}: cannot be read ({error.strerror})", remedy="copy the recording again") from None
        parts.append(stored[: len(stored) // width * width])
        if len(stored) != CHUNK_ROWS * width:
            break
    return np.frombuffer(b"".join(parts), dtype)
