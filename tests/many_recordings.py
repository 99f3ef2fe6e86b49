"""Many recordings at little cost: real ones, each with its own folder, case and moment, that share the files of one.

Everything but ``zarr.json`` is a hard link to the first one's, so all have the same few frames; whatever opens a recording opens
them.
"""

import json
import os
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from device.recording_index import _Line, _put, _sound_connection, _stamp
from shared.bounded import plain
from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.protocol.control import RecordingSummary
from shared.recording.names import recording_name
from shared.recording.writer import RecordingWriter

CAMERA = CameraDescription("fake", 64, 48, bit_depth=10, black_level=16.0, frame_interval_us=33_333)
FIRST = datetime(2031, 1, 1, 8, 0, tzinfo=UTC)
APART = timedelta(minutes=37)


def one_recording(path: Path, case: str = "", started_at: datetime | None = FIRST, frames: int = 8) -> Path:
    """A small whole recording with one injection, of 5 mg."""
    moment = "" if started_at is None else started_at.isoformat(timespec="seconds")
    with RecordingWriter(path, CAMERA, Calibration.assumed(CAMERA), started_at=moment, case=case) as writer:
        for number in range(frames):
            pixels = np.full(CAMERA.shape, 100 + number, np.uint16)
            writer.append(Frame(pixels, number, round(number * 33.333e6), 8000.0, 1.0, 1.0, True))
        writer.event("injection", round(33.333e6), dose_mg=5.0)
    return path


def many_recordings(folder: Path, count: int, a_case: int = 3, first: datetime = FIRST, letter: str = "K") -> list[str]:
    """``count`` recordings in ``folder``, ``a_case`` of each case, the earliest first; returns their names."""
    folder.mkdir(parents=True, exist_ok=True)
    source = one_recording(folder / "source.zarr", "K0-Heron")
    document = json.loads((source / "zarr.json").read_text())
    parts = sorted(path.relative_to(source) for path in source.rglob("*"))
    names = []
    for number in range(count):
        at, case = first + number * APART, f"{letter}{number // a_case}-Heron"
        name = recording_name(at, case)
        target = folder / f"{name}.zarr"
        target.mkdir()
        for part in parts:
            if (source / part).is_dir():
                (target / part).mkdir()
            elif part.name != "zarr.json" or part.parent != Path():
                os.link(source / part, target / part)
        document["attributes"]["tapetum"] |= {"case": case, "started_at": at.isoformat(timespec="seconds")}
        (target / "zarr.json").write_text(json.dumps(document))
        names.append(name)
    source.rename(folder / ".source")  # no recording of its own
    return names


def listed_recordings(folder: Path, count: int, a_case: int = 3) -> list[str]:
    """``count`` names in ``folder`` that the index of recordings knows, the earliest first, at next to no cost.

    Each is an empty folder with a line in the index as a real one has: they are listed, searched and paged by the device's own
    code; opening one is refused, as nothing is in it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    names, lines = [], []
    for number in range(count):
        at, case = FIRST + number * APART, f"K{number // a_case}-Heron"
        name = recording_name(at, case)
        (folder / f"{name}.zarr").mkdir()
        about = RecordingSummary(
            name, at.isoformat(timespec="seconds"), case, 93.2, 2796, number % 40 // 39, 412.5, number % 50 != 0
        )
        lines.append(
            _Line(
                name,
                _stamp(folder / f"{name}.zarr"),
                "",
                about.started_at,
                case,
                json.dumps(plain(about)),
                about.size_mb,
            )
        )
        names.append(name)
    with closing(_sound_connection(folder)) as base:
        _put(base, lines)
    return names
