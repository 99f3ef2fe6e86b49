"""Maps on the imager and from a recording: the same frames give the same maps, whoever gathers them."""

import contextlib
import multiprocessing
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import psutil
import pytest

from device.inflow_maps import LiveMaps, Marks
from device.maps_reader import MapsReader
from device.recorded_maps import maps_of
from shared.inflow.handover import hand_over
from shared.inflow.maps import MEASURED, InflowMaps
from shared.inflow.maps_slots import MapGatherer
from shared.inflow.maps_store import has_maps, read_maps
from shared.recording import Recording
from shared.recording.writer import RecordingWriter
from shared.region import Region
from tests.shared.inflow.simulated_frames import Light, Patch, calibration, frames

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


DYING_IMAGER = """
import multiprocessing, os, sys
from pathlib import Path
from device.maps_reader import MapsReader
from shared.inflow.handover import Order
reader = MapsReader(multiprocessing.get_context("fork"))
print(reader.pid, flush=True)
reader._pipe.send((Order(sys.argv[1], "", 10.0), Path(sys.argv[2])))
os.kill(os.getpid(), 9)
"""


@pytest.fixture(scope="module")
def reader() -> Iterator[MapsReader]:
    """One for all: it takes seconds to load."""
    one = MapsReader(multiprocessing.get_context("spawn"))
    yield one
    one.close()


def live_maps(tmp_path: Path, reader: MapsReader, seconds: float = 60.0, marks: Marks = MARKS) -> tuple[LiveMaps, Path]:
    """A run that was recorded from its first frame, and ended."""
    known, runs = calibration(24, 48), Runs()
    maps = LiveMaps(known, runs, lambda: marks, reader, tmp_path / "handover")
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


def test_maps_are_ready_beside_the_recording_when_it_ends(tmp_path: Path, reader: MapsReader) -> None:
    maps, folder = live_maps(tmp_path, reader)
    assert (maps.ready, maps.note) == ("run", "")
    made = read_maps(folder)
    assert made.about.reference == str(REFERENCE)
    assert made.about.since_s == 10.0
    values, _, classes = made.of("arrival_s")
    assert np.mean(classes == MEASURED) > 0.9
    assert float(np.nanmean(values[:, :12])) == pytest.approx(10.0, abs=0.2)
    maps.close()


def test_a_recording_of_the_same_frames_gives_the_same_maps(tmp_path: Path, reader: MapsReader) -> None:
    maps, folder = live_maps(tmp_path, reader)
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


def test_a_run_too_short_for_maps_says_so(tmp_path: Path, reader: MapsReader) -> None:
    maps, folder = live_maps(tmp_path, reader, 3.0)
    assert maps.ready is None
    assert "too few frames for maps" in maps.note
    assert not has_maps(folder)
    maps.close()


def test_a_disk_that_fails_is_said(tmp_path: Path, reader: MapsReader) -> None:
    (tmp_path / "run.zarr").mkdir()
    (tmp_path / "run.zarr" / ".maps.new").write_text("in the way")
    maps, _ = live_maps(tmp_path, reader)
    assert "the maps could not be kept" in maps.note
    maps.close()


def test_closing_reads_what_was_gathered(tmp_path: Path, reader: MapsReader) -> None:
    known, runs = calibration(24, 48), Runs()
    maps = LiveMaps(known, runs, lambda: Marks(None, None), reader, tmp_path / "handover")
    runs.path = tmp_path
    for frame in frames(known, PATCHES, 60.0):
        maps.take(frame)
    maps.close()
    assert has_maps(tmp_path)
    assert not read_maps(tmp_path).about.injected
    assert "no reference" in read_maps(tmp_path).about.notes[0]


def test_a_reader_that_dies_is_said_and_replaced(tmp_path: Path) -> None:
    reader = MapsReader(multiprocessing.get_context("spawn"))
    psutil.Process(reader.pid).kill()
    maps, folder = live_maps(tmp_path, reader, 8.0)
    assert "no maps: their reader ended with status -9" in maps.note
    assert "export the recording's maps" in maps.note
    assert not has_maps(folder)
    maps.close()
    again, folder = live_maps(tmp_path, reader)
    assert again.ready == "run"
    again.close()
    reader.close()


def test_a_reader_finishes_its_order_though_the_imager_is_gone(tmp_path: Path) -> None:
    known, recording = calibration(24, 48), tmp_path / "run.zarr"
    recording.mkdir()
    gatherer = MapGatherer(known)
    for frame in frames(known, PATCHES, 60.0):
        gatherer.add(frame)
    hand_over(tmp_path / "handover", gatherer)
    died = subprocess.run(
        [sys.executable, "-c", DYING_IMAGER, str(recording), str(tmp_path / "handover")],
        stdout=subprocess.PIPE,
        check=False,
    )
    assert died.returncode == -9
    with contextlib.suppress(psutil.NoSuchProcess):
        psutil.Process(int(died.stdout)).wait(DEADLINE_S)
    assert has_maps(recording)


def test_ambient_light_ten_times_the_dye_s_is_taken_off(tmp_path: Path, reader: MapsReader) -> None:
    """It grows by three times the dye's peak during the run; levels stay within 3 points of truth, live and from a recording."""
    known, runs, stored = calibration(24, 48), Runs(), tmp_path / "stored.zarr"
    peaks, injected = (3.0, 1.2), Marks(REFERENCE, INJECTED_NS)
    patches = tuple(Patch(peak, left_over=0.3) for peak in peaks)
    maps = LiveMaps(known, runs, lambda: injected, reader, tmp_path / "handover", ambient_off=True)
    with RecordingWriter(stored, known.camera, known, started_at="2026-11-25T10:00:00Z") as writer:
        for frame in frames(known, patches, 90.0, ambient=lambda time_s: 30.0 + 0.1 * time_s, unlit_every=5):
            runs.path = stored
            maps.take(frame)
            writer.append(frame)
        writer.event("injection", INJECTED_NS)
        writer.event("reference", 0, region=str(REFERENCE))
    maps.close()
    with Recording.open(stored) as recording:
        made = {"live": read_maps(stored), "recorded": maps_of(recording, follow_motion=False)}
    for name, one in made.items():
        assert "ambient light was measured in 180 frames without light, and is taken off" in one.about.notes, name
        values, u, classes = (plane[:, 12:] for plane in one.of("relative_percent_at_reference_peak"))
        assert np.mean(classes == MEASURED) > 0.5, name
        assert float(np.nanmean(values)) == pytest.approx(40.0, abs=3.0), name
        spread = float(np.nanstd(values[:, 2:]))
        assert 0.6 * spread < float(np.nanmean(u)) < 1.7 * spread, name
    assert equal(made["live"], made["recorded"])


def test_what_a_step_of_the_light_made_of_the_room_is_taken_off_live_and_from_a_recording(
    tmp_path: Path, reader: MapsReader
) -> None:
    """A tenth of the reference's peak, under 1.0 and then 0.4: 15 points of it, if nothing were taken off."""
    known, runs, stored = calibration(24, 48), Runs(), tmp_path / "stored.zarr"
    maps = LiveMaps(known, runs, lambda: MARKS, reader, tmp_path / "handover")
    light = ((0.0, Light()), (28.0, Light(level=0.0)), (28.1, Light(level=0.4)))
    with RecordingWriter(stored, known.camera, known, started_at="2026-11-25T10:00:00Z") as writer:
        for frame in frames(known, PATCHES, 90.0, light_at=light, ambient=lambda _: 3.0):
            runs.path = stored
            maps.take(frame)
            writer.append(frame)
        writer.event("injection", INJECTED_NS)
        writer.event("reference", 0, region=str(REFERENCE))
    maps.close()
    with Recording.open(stored) as recording:
        made = {"live": read_maps(stored), "recorded": maps_of(recording, follow_motion=False)}
    for name, one in made.items():
        assert sum("what steps made of it is taken off" in note for note in one.about.notes) == 1, name
        values = one.of("peak_relative_percent")[0][:, 12:]
        assert float(np.nanmean(values)) == pytest.approx(100.0 / 3.0, abs=0.5), name
    assert equal(made["live"], made["recorded"])
