"""Exported maps, read again by Pillow and tifffile, and looked at for colour where there is none."""

import csv
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from PIL import Image

from device.cli.analyse import command
from device.export.job import export
from shared.inflow.map_pictures import drawn_map, scale_of
from shared.inflow.map_values import MEASURED, NAMES, PARAMETERS, InflowMaps, MapsAbout
from shared.inflow.maps_store import read_maps, write_maps
from shared.recording import Recording
from shared.recording.writer import RecordingWriter
from tests.shared.inflow.simulated_frames import Patch, calibration, frames


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A minute of two patches, the right one too bright."""
    path, known = tmp_path_factory.mktemp("maps") / "run.zarr", calibration(24, 48)
    with RecordingWriter(path, known.camera, known, started_at="2026-11-25T10:00:00Z") as writer:
        for frame in frames(known, (Patch(30.0), Patch(90.0)), 60.0):
            writer.append(frame)
        writer.event("injection", 10_000_000_000)
        writer.event("reference", 0, region="base:0,0,24,24")
    return path


def test_each_map_becomes_a_picture_and_a_tiff_of_values_and_uncertainties(stored: Path, tmp_path: Path) -> None:
    with Recording.open(stored) as recording:
        done = export(recording, tmp_path, ["maps"])
    names = {file.name for file in done.files}
    assert any("made from the recording" in note for note in done.notes)
    for name in NAMES:
        title = name.replace("_", "-")
        assert {f"map-{title}.png", f"map-{title}.tif"} <= names
        values, u = tifffile.imread(done.folder / f"map-{title}.tif")
        assert values.dtype == np.float32
        assert values.shape == u.shape == (12, 24)
        assert np.isnan(values[:, 12:]).all()  # saturated
    with Image.open(done.folder / "map-peak-relative-percent.png") as picture:
        assert picture.size[0] >= 640
    rows = list(csv.DictReader((done.folder / "maps.csv").read_text(encoding="utf-8").splitlines()))
    assert [row["map"] for row in rows] == list(NAMES)
    peak = rows[NAMES.index("peak_relative_percent")]
    assert float(peak["50 % of bins are below"]) == pytest.approx(100.0, abs=1.0)
    assert float(peak["share of bins: saturated: brighter than the camera can tell"]) == pytest.approx(0.5)


def test_maps_that_were_kept_are_those_exported(stored: Path, tmp_path: Path) -> None:
    shape = (len(NAMES), 12, 24)
    invented = InflowMaps(
        np.full(shape, 7.0, np.float32),
        np.ones(shape, np.float32),
        np.zeros(shape, np.uint8),
        MapsAbout("", False, 0.0, 9),
    )
    with Recording.open(stored) as recording:
        write_maps(stored, invented)
        try:
            done = export(recording, tmp_path, ["maps"])
        finally:
            for file in sorted((stored / "maps").rglob("*"), reverse=True):
                file.unlink() if file.is_file() else file.rmdir()
            (stored / "maps").rmdir()
    assert (tifffile.imread(done.folder / "map-arrival-s.tif")[0] == 7.0).all()
    assert any("kept with the recording, the hand's motion not followed" in note for note in done.notes)


@pytest.mark.parametrize("what", [1, 2, 3, 4])
def test_no_colour_stands_where_nothing_was_measured(what: int) -> None:
    shape = (len(NAMES), 20, 330)
    values = np.full(shape, 50.0, np.float32)
    classes = np.zeros(shape, np.uint8)
    classes[:, :, 100:] = what
    values[classes != MEASURED] = np.nan
    maps = InflowMaps(values, np.ones_like(values), classes, MapsAbout("base:0,0,4,4", True, 5.0, 100))
    for parameter in PARAMETERS:
        picture = np.asarray(drawn_map(maps, parameter, np.full(shape[1:], 80, np.uint8)))[:40].astype(int)
        chroma = picture.max(axis=2) - picture.min(axis=2)
        assert (chroma[:, :200] > 20).all()
        assert (chroma[:, 200:] == 0).all()
        patterned = len(np.unique(picture[:, 200:])) > 1
        assert patterned == (what != 4)


def test_scales_end_at_round_numbers_and_percent_begins_at_none() -> None:
    percent, seconds = PARAMETERS[1], PARAMETERS[3]
    scale = scale_of(np.array([[20.0, 60.0, np.nan]], np.float32), percent)
    assert (scale.low, scale.high) == (0.0, 100.0)
    scale = scale_of(np.linspace(3.2, 41.3, 100, dtype=np.float32)[None], seconds)
    assert (scale.low, scale.high, scale.step) == (0.0, 50.0, 10.0)


def test_analyse_keeps_maps_when_asked(stored: Path) -> None:
    result = CliRunner().invoke(
        command, [str(stored), "--region", "left:2,2,16,16", "--no-motion", "--maps", "--json"], catch_exceptions=False
    )
    assert result.exit_code == 0
    assert str(stored / "maps") in result.output
    assert read_maps(stored).about.reference == "base:0,0,24,24"
