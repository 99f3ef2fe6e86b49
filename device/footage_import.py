"""Footage from any camera as a recording; what nobody knows of it is marked in it, and never made up."""

import hashlib
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from device.camera.footage import Footage
from device.camera.replay import RecordedFootage, open_footage
from device.camera.stack import PictureFolder, Pictures
from device.whole_folder import appearing_whole
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Counts, Frame
from shared.recording.writer import RecordingWriter

_LOOKED_AT = 16
_DARKEST_PERCENT, _BRIGHT_PERCENT = 0.1, 99.0
_LINEAR_BITS = 16
_INTERVALS_US = (100.0, 1e8)
"""What a recording's frame interval may be."""

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Stated:
    """What the person who imports knows of the footage; None where that is nothing.

    ``gamma`` 1 says that counts are proportional to light; G that they went with light to the power of 1/G, which is undone.
    ``injected_at_s`` counts from the first frame.
    """

    fps: float | None = None
    black_level: float | None = None
    bit_depth: int | None = None
    gamma: float | None = None
    injected_at_s: float | None = None


@dataclass(frozen=True)
class Imported:
    """What was written. ``unknown`` is what nobody knows of it, in words for people."""

    frames: int
    duration_s: float
    camera: CameraDescription
    unknown: tuple[str, ...]


def import_footage(
    source: Path, out: Path, stated: Stated | None = None, on_progress: Progress = lambda done, total: None
) -> Imported:
    """Write the clip, TIFF stack or picture folder ``source`` as a recording at ``out``, which appears when it is whole.

    ``on_progress`` gets frames done and in all. Raises Refused where the source is damaged, cannot be true to ``stated``, or has no
    frame rate that anybody knows.
    """
    stated = Stated() if stated is None else stated
    footage = open_footage(source, stated.fps)
    try:
        if isinstance(footage, RecordedFootage):
            raise Refused("this is a recording already", str(source), "analyse it as it is")
        _require_times(footage, source, stated)
        with appearing_whole(out) as growing:
            return _Import(footage, source, stated, on_progress).write(growing)
    finally:
        footage.close()


def _require_times(footage: Footage, source: Path, stated: Stated) -> None:
    if any(one.startswith("frame rate") for one in footage.unknown):
        raise Refused(
            f"{source}: nothing says how many frames a second it has",
            remedy="give the rate at which it was taken, --fps",
        )
    interval_us = footage.description.frame_interval_us
    if not _INTERVALS_US[0] <= interval_us <= _INTERVALS_US[1]:
        raise Refused(
            f"{source}: no frame interval of a recording", f"{interval_us:g} us", "give the true frame rate, --fps"
        )
    at_s, last_s = stated.injected_at_s, footage.time_ns(len(footage) - 1) / 1e9
    if at_s is not None and not 0 <= at_s <= last_s:
        raise Refused(
            f"{source}: the injection lies outside the footage", f"{at_s:g} s", f"give from 0 to {last_s:g} s"
        )


class _Import:
    """One pass to look, where figures must be found first, and one to write."""

    def __init__(self, footage: Footage, source: Path, stated: Stated, on_progress: Progress) -> None:
        self._footage, self._source, self._stated = footage, source, stated
        self._frames = len(footage)
        self._pixels: Counts = np.empty(footage.description.shape, np.uint16)
        deeper = isinstance(footage, Pictures) and footage.depth_is_guessed
        self._guessed_depth = deeper and stated.bit_depth is None
        looked_at = self._frames if self._guessed_depth else min(_LOOKED_AT, self._frames)
        self._total = looked_at + self._frames
        self._done, self._on_progress = 0, on_progress
        largest, darkest, bright = self._survey(looked_at)
        self._bit_depth = stated.bit_depth or max(8, largest.bit_length())
        self._black_level = darkest if stated.black_level is None else stated.black_level
        self._table = self._linearised()
        if self._black_level > bright:
            raise Refused(
                f"{source}: the black level lies above nearly all of the picture, {bright:g} counts at its bright places",
                self._black_level,
                "give that of a pixel that sees nothing",
            )

    def write(self, path: Path) -> Imported:
        footage, stated, unknown = self._footage, self._stated, self._unknown()
        camera = self._camera()
        writer = RecordingWriter(
            path,
            camera,
            Calibration.assumed(camera),
            started_at="",
            extra={"imported": self._provenance()},
            unknown=unknown,
        )
        with writer:
            if stated.injected_at_s is not None:
                writer.event("injection", round(stated.injected_at_s * 1e9))
            for number in range(self._frames):
                self._load(number)
                nobody_knows = math.nan
                writer.append(
                    Frame(self._pixels, number, footage.time_ns(number), nobody_knows, nobody_knows, nobody_knows)
                )
        duration_s = footage.time_ns(self._frames - 1) / 1e9 + camera.frame_interval_us / 1e6
        return Imported(self._frames, duration_s, camera, unknown)

    def _survey(self, frames: int) -> tuple[int, float, float]:
        """Largest count; and the counts below which a thousandth of the darkest of the first pictures lies, and nearly all of the
        brightest.
        """
        largest, darkest, bright = 0, math.inf, 0.0
        for number in range(frames):
            self._footage.read(number, self._pixels)
            largest = max(largest, int(self._pixels.max()))
            if number < _LOOKED_AT:
                low, high = np.percentile(self._pixels, (_DARKEST_PERCENT, _BRIGHT_PERCENT))
                darkest, bright = min(darkest, float(low)), max(bright, float(high))
            self._step()
        return largest, darkest, bright

    def _load(self, number: int) -> None:
        self._footage.read(number, self._pixels)
        largest, white = int(self._pixels.max()), (1 << self._bit_depth) - 1
        if largest > white:
            raise Refused(
                f"{self._source}: frame {number} holds more than {self._bit_depth} bits can say",
                largest,
                f"give --bit-depth {largest.bit_length()} or more",
            )
        if self._table is not None:
            self._table.take(self._pixels, out=self._pixels)
        self._step()

    def _linearised(self) -> NDArray[np.uint16] | None:
        """What each count becomes when the stated gamma is undone: black 0, white the largest of 16 bits; None where it stays."""
        gamma = self._stated.gamma
        white = (1 << self._bit_depth) - 1
        if not self._black_level < white:
            raise Refused(f"{self._source}: black level reaches white, {white}", self._black_level, "give a lower one")
        if gamma is None or gamma == 1:
            return None
        share = np.clip((np.arange(white + 1) - self._black_level) / (white - self._black_level), 0, 1)
        table: NDArray[np.uint16] = np.round(share**gamma * ((1 << _LINEAR_BITS) - 1)).astype(np.uint16)
        return table

    def _camera(self) -> CameraDescription:
        """Without the file's name, which may be a patient's."""
        linearised = self._table is not None
        return replace(
            self._footage.description,
            model="imported footage, camera unknown",
            bit_depth=_LINEAR_BITS if linearised else self._bit_depth,
            black_level=0.0 if linearised else self._black_level,
        )

    def _unknown(self) -> tuple[str, ...]:
        stated = self._stated
        known = {"gamma": stated.gamma is not None, "black level": stated.black_level is not None}
        said = {"black level": f"black level ({self._black_level:g} counts estimated)"}
        found = [said.get(one, one) for one in self._footage.unknown if not known.get(one, False)]
        if self._guessed_depth:
            found.append(f"bit depth ({self._bit_depth} bits hold the largest count)")
        return (*found, "noise", "date")

    def _provenance(self) -> dict[str, Any]:
        """Which file it was, told by its content and not by its name."""
        stated = {name: value for name, value in vars(self._stated).items() if value is not None}
        return {
            "sha256": _sha256(self._source, self._footage),
            "stated": stated,
            "imported_at": datetime.now(UTC).isoformat(timespec="seconds"),
        }

    def _step(self) -> None:
        self._done += 1
        self._on_progress(self._done, self._total)


def _sha256(source: Path, footage: Footage) -> str:
    """Of the file, or of a folder's pictures one after the other, in hexadecimal."""
    files = footage.paths if isinstance(footage, PictureFolder) else [source]
    digest = hashlib.sha256()
    for path in files:
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                digest.update(block)
    return digest.hexdigest()
