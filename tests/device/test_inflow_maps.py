"""Maps on the imager and from a recording: the same frames give the same maps, whoever gathers them."""

from pathlib import Path

import numpy as np
import pytest

from device.inflow_maps import LiveMaps, Marks
from device.recorded_maps import maps_of
from shared.inflow.maps import MEASURED, InflowMaps
from shared.inflow.maps_store import has_maps, read_maps
from shared.recording import Recording
from shared.recording.writer import RecordingWriter
from shared.region import Region
from tests.shared.inflow.simulated_frames import Patch, calibration, frames

PATCHES = (Patch(30.0), Patch(10.0, onset_s=24.0))
REFERENCE = Region("base", "rectangle", (0, 0, 24, 24))
DEADLINE_S = 60.0
INJECTED_NS = 10_000_000_000
MARKS = Marks(REFERENCE, INJECTED_NS)


class Runs:
    """Stands in for the recorder: says which recording runs."""

    path: Path | None = None

    def __call__(self) -> Path | None:
        return self.path


def live_maps(tmp_path: Path, seconds: float = 60.0, marks: Marks = MARKS) -> tuple[LiveMaps, Path]:
    """A run that was recorded from its first frame, and ended."""
    known, runs = calibration(24, 48), Runs()
    maps = LiveMaps(known, runs, lambda: marks)
    folder = tmp_path / "run.zarr"
    folder.mkdir(exist_ok=True)
    for frame in frames(known, PATCHES, seconds):
        runs.path = folder
        maps.take(frame)
    runs.path = None
    maps.take(next(iter(frames(known, PATCHES, 1.0))))
    assert maps.wait(DEADLINE_S)
    return maps, folder


def equal(one: InflowMaps, other: InflowMaps) -> bool:
    pairs = ((one.values, other.values), (one.u, other.u), (one.classes, other.classes))
    return all(np.array_equal(a, b, equal_nan=a.dtype.kind == "f") for a, b in pairs)


def test_maps_are_ready_beside_the_recording_when_it_ends(tmp_path: Path) -> None:
    maps, folder = live_maps(tmp_path)
    assert (maps.ready, maps.note) == ("run", "")
    made = read_maps(folder)
    assert made.about.reference == str(REFERENCE)
    assert made.about.since_s == 10.0
    values, _, classes = made.of("arrival_s")
    assert np.mean(classes == MEASURED) > 0.9
    assert float(np.nanmean(values[:, :12])) == pytest.approx(10.0, abs=0.2)
    maps.close()


def test_a_recording_of_the_same_frames_gives_the_same_maps(tmp_path: Path) -> None:
    maps, folder = live_maps(tmp_path)
    maps.close()
    known, stored = calibration(24, 48), tmp_path / "stored.zarr"
    with RecordingWriter(stored, known.camera, known, started_at="2026-11-25T10:00:00Z") as writer:
        for frame in frames(known, PATCHES, 60.0):
            writer.append(frame)
        writer.event("injection", INJECTED_NS)
        writer.event("reference", 0, region=str(REFERENCE))
    with Recording.open(stored) as recording:
        again = maps_of(recording, follow_motion=False)
    assert equal(again, read_maps(folder))


def test_a_run_too_short_for_maps_says_so(tmp_path: Path) -> None:
    maps, folder = live_maps(tmp_path, 3.0)
    assert maps.ready is None
    assert "too few frames for maps" in maps.note
    assert not has_maps(folder)
    maps.close()


def test_a_disk_that_fails_is_said(tmp_path: Path) -> None:
    (tmp_path / "run.zarr").mkdir()
    (tmp_path / "run.zarr" / ".maps.new").write_text("in the way")
    maps, _ = live_maps(tmp_path)
    assert "the maps could not be kept" in maps.note
    maps.close()


def test_closing_reads_what_was_gathered(tmp_path: Path) -> None:
    known, runs = calibration(24, 48), Runs()
    maps = LiveMaps(known, runs, lambda: Marks(None, None))
    runs.path = tmp_path
    for frame in frames(known, PATCHES, 60.0):
        maps.take(frame)
    maps.close()
    assert has_maps(tmp_path)
    assert not read_maps(tmp_path).about.injected
    assert "no reference" in read_maps(tmp_path).about.notes[0]
