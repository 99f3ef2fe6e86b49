"""Analysis of a simulated recording finds the scene's own numbers, and the commands print them."""

import json
import math
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.special import lambertw

from device.analysis import analyse
from device.cli.analyse import command as analyse_command
from device.cli.export import command as export_command
from device.cli.recordings import command as recordings_command
from device.marked_regions import reference_of, regions_of, scene_region
from device.simulate import simulate
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.recording import Recording
from shared.recording.writer import RecordingWriter
from shared.region import Region
from shared.scene.description import Scene
from tests.device.export.conftest import counts
from tests.scenes import as_toml, two_halves

ROOT = Path(__file__).parents[2]
SCENE = as_toml(
    two_halves(
        160,
        96,
        1.0,
        camera={"fps": 8.0},
        optics={"leakage": 0.05, "ambient": 0.02},
        dye={"injected_at_s": 8.0, "half_life_s": 120.0},
    )
)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("recordings")
    (folder / "scene.toml").write_text(SCENE)
    scene = Scene.load(folder / "scene.toml")
    simulate(scene, folder / "flap.zarr", 150.0, seed=2, scene_text=SCENE)
    return folder / "flap.zarr"


def test_a_scene_gives_its_own_numbers_back(recorded: Path) -> None:
    """Truth is the scene's: gamma variates with these arrivals, peaks at alpha x beta, levels and half-life."""
    with Recording.open(recorded) as recording:
        result = analyse(recording, "base:10,10,50,70", ["tip:100,10,50,70"])
    figures = result.parameters["tip"]
    half_rise_s = 12.5 * -lambertw(-(0.5 ** (1 / 2.5)) / math.e).real  # level crossing of a gamma variate
    truths = {
        "peak_relative_percent": (35.0, 0.05),
        "arrival_s": (17.0, 0.02),
        "time_to_peak_s": (12.5, 0.02),
        "half_rise_s": (half_rise_s, 0.02),
        "half_rise_over_time_to_peak": (half_rise_s / 12.5, 0.002),
        "peak_s": (29.5, 0.02),
        "washout_half_life_s": (120.0, 2.0),
    }
    for name, (truth, tolerance) in truths.items():
        estimate = getattr(figures, name)
        assert estimate.value == pytest.approx(truth, abs=tolerance), name
        assert 0 < estimate.u < tolerance * 2, name
    assert not {*figures.flags} - {"no-motion-lock"}
    assert result.injected_at_s == pytest.approx(8.0)
    printed = result.as_json()
    assert (printed["frames"], printed["duration_s"], printed["gaps"]) == (1200, pytest.approx(150.0), 0)
    assert printed["motion"]["locked_share"] == 1
    assert (
        printed["motion"]["largest_shift_mm"] < 0.5
    )  # the hand was still; a pixel is a millimetre here, and the skin fine
    # skin so fine and so dim tells a shift, but no size
    assert [line for line in printed["warnings"] if "cannot be told whether the hand came nearer" not in line] == []
    assert set(printed["regions"]["tip"]["arrival_s"]) == {"value", "u"}


def test_analyse_command(recorded: Path) -> None:
    done = CliRunner().invoke(analyse_command, [str(recorded), "--json"], catch_exceptions=False)
    assert done.exit_code == 0
    result = json.loads(done.stdout)
    assert result["reference"] == "base"
    assert result["regions"]["tip"]["peak_relative_percent"]["value"] == pytest.approx(35, abs=0.3)
    given = ["--reference", "base", "--region", "tip", "--region", "edge:90,5,20,20"]
    done = CliRunner().invoke(analyse_command, [str(recorded), *given], catch_exceptions=False)
    assert done.exit_code == 0
    assert "not viability" in done.stdout
    assert "±" in done.stdout


@pytest.mark.parametrize(
    ("given", "line"),
    [
        (["--region", "toe"], "no such region or tissue: toe"),
        (["--region", "toe:1,2,3"], "a rectangle needs"),
        (["--region", "toe:900,900,3,3"], "region lies outside the picture"),
        (["--region", "a:1,2,3,4", "--region", "a:1,2,3,4"], "two regions have the same name"),
        (["--reference", "a:1,2,3,4", "--region", "a:5,6,7,8"], "has the reference's name but another place"),
    ],
)
def test_what_cannot_be_analysed_is_said(recorded: Path, given: list[str], line: str) -> None:
    done = CliRunner().invoke(analyse_command, [str(recorded), *given])
    assert isinstance(done.exception, Refused)
    assert line in done.exception.line


def test_recordings_command(recorded: Path, tmp_path: Path) -> None:
    (recorded.parent / "broken.zarr").mkdir(exist_ok=True)
    done = CliRunner().invoke(recordings_command, [str(recorded.parent), "--json"], catch_exceptions=False)
    result = json.loads(done.stdout)
    (one,) = result["recordings"]
    assert (one["name"], one["frames"], one["complete"]) == ("flap", 1200, True)
    assert one["size_mb"] == pytest.approx(
        sum(f.stat().st_size for f in recorded.rglob("*") if f.is_file()) / 1e6, abs=0.01
    )
    assert "broken.zarr" in result["problems"][0]
    assert "no recordings" in CliRunner().invoke(recordings_command, [str(tmp_path)]).stdout
    assert isinstance(CliRunner().invoke(recordings_command, [str(tmp_path / "none")]).exception, Refused)


def test_export_command(recorded: Path, tmp_path: Path) -> None:
    given = [str(recorded), str(tmp_path), "--as", "csv, tiff", "--json"]
    done = CliRunner().invoke(export_command, given, catch_exceptions=False)
    result = json.loads(done.stdout)
    assert result["folder"] == str(tmp_path / "flap")
    assert {"frames.tif", "curves.csv", "manifest.json"} <= {file["name"] for file in result["files"]}


def test_a_stopped_export_leaves_nothing(recorded: Path, tmp_path: Path) -> None:
    """SIGTERM in the middle of a real process: one line, status 2, an empty folder."""
    given = [sys.executable, "-m", "device", "export", str(recorded), str(tmp_path), "--as", "mp4", "--json"]
    with subprocess.Popen(given, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT) as process:
        assert process.stderr is not None
        lines = iter(process.stderr)
        assert next(json.loads(line)["done"] for line in lines if line.startswith("{")) < 0.5
        process.terminate()
        last = [line for line in lines if not line.startswith("{")]
        assert process.wait(30) == 2
    assert last == ["tapetum: the export was stopped: flap.zarr; nothing was left behind; start it again\n"]
    assert list(tmp_path.iterdir()) == []


def test_a_cut_off_recording_is_analysed_with_a_warning(tmp_path: Path) -> None:
    camera = CameraDescription("test", 160, 120, black_level=20.0)
    writer = RecordingWriter(tmp_path / "a.zarr", camera, Calibration.assumed(camera), started_at="")
    for number in range(60):
        writer.append(Frame(counts(number), number, number * 10**8, 8000.0, 1.0, 1.0, True))
    writer.close(complete=False)
    with Recording.open(tmp_path / "a.zarr") as recording:
        result = analyse(recording, "base:20,20,40,60", ["tip:100,20,40,60"])
        assert result.parameters["tip"].peak_relative_percent.value == pytest.approx(40, abs=1.5)
        assert any("cut off" in line for line in result.warnings)
        assert any("no injection" in line for line in result.warnings)
        assert any("nothing is known of this camera" in line for line in result.warnings)


def test_a_region_over_the_edge_is_measured_where_it_is_seen_and_that_is_said(tmp_path: Path) -> None:
    path = written(tmp_path / "a.zarr", lambda n: (bolus(n, 400.0), bolus(n, 200.0)), 120)
    with Recording.open(path) as recording:
        result = analyse(recording, "base:-4,20,20,60", ["tip:140,20,40,60", "near:141,20,20,60"], follow_motion=False)
    said = [line for line in result.warnings if "edge" in line]
    assert said == [
        "base reaches over the picture's edge: 20 % of it is not seen and not measured",
        "tip reaches over the picture's edge: 50 % of it is not seen and not measured",
        "near reaches over the picture's edge: 5 % of it is not seen and not measured",
    ]


def written(path: Path, means: Callable[[int], tuple[float, float]], frames: int) -> Path:
    """A recording whose left and right halves have the given mean counts above dark in each frame."""
    camera = CameraDescription("test", 160, 120, black_level=20.0)
    rng = np.random.default_rng(1)
    with RecordingWriter(path, camera, Calibration.assumed(camera), started_at="") as writer:
        for number in range(frames):
            mean = np.repeat(means(number), 80)[None, :].repeat(120, axis=0)
            pixels = np.clip(np.rint(20 + rng.poisson(mean * 10) / 10), 0, 1023).astype(np.uint16)
            writer.append(Frame(pixels, number, number * 10**8, 8000.0, 1.0, 1.0, True))
    return path


def test_frames_that_no_curve_has_are_counted_and_said(tmp_path: Path) -> None:
    """Every tenth frame unlit but for eight seconds; the light dimmed once, midway through a frame."""
    camera, rng = CameraDescription("test", 64, 64, black_level=20.0), np.random.default_rng(1)
    with RecordingWriter(tmp_path / "a.zarr", camera, Calibration.assumed(camera), started_at="") as writer:
        for number in range(300):
            unlit = number % 10 == 0 and not 100 < number < 180
            level = 0.0 if unlit else 1.0 if number < 205 else 0.7 if number == 205 else 0.5
            counts = 60.0 + level * bolus(number, 400.0)
            pixels = np.rint(20 + rng.poisson(np.full(camera.shape, counts * 10)) / 10).astype(np.uint16)
            writer.append(Frame(pixels, number, number * 10**8, 8000.0, 1.0, level, level > 0))
    with Recording.open(tmp_path / "a.zarr") as recording:
        result = analyse(recording, "base:20,20,30,30", follow_motion=False)
    assert "19 frames are left out of every curve: the room's light was not measured within 3 s of them" in " ".join(
        result.warnings
    )
    assert "1 frames are left out of every curve: the light was switched or dimmed during them" in result.warnings
    unlit = 300 // 10 - 7
    assert result.curves["base"].times_s.size == 300 - unlit - 19 - 1


@pytest.mark.parametrize(
    ("second_level", "unlit_every", "is_said"), [(0.5, 0, True), (1.0, 0, False), (0.5, 10, False)]
)
def test_a_light_stepped_in_a_room_whose_light_was_not_measured_is_said(
    tmp_path: Path, second_level: float, unlit_every: int, is_said: bool
) -> None:
    """The room adds 60 counts at each level: half the light makes of them a signal of 120, unless they are taken off."""
    camera, rng = CameraDescription("test", 64, 64, black_level=20.0), np.random.default_rng(1)
    with RecordingWriter(tmp_path / "a.zarr", camera, Calibration.assumed(camera), started_at="") as writer:
        for number in range(300):
            unlit = unlit_every and number % unlit_every == 0
            level = 0.0 if unlit else 1.0 if number < 205 else second_level
            counts = 60.0 + level * bolus(number, 400.0)
            pixels = np.rint(20 + rng.poisson(np.full(camera.shape, counts * 10)) / 10).astype(np.uint16)
            writer.append(Frame(pixels, number, number * 10**8, 8000.0, 1.0, level, level > 0))
    with Recording.open(tmp_path / "a.zarr") as recording:
        result = analyse(recording, "base:20,20,30,30", follow_motion=False)
    curve = result.curves["base"]
    before, after = (curve.signal[np.abs(curve.times_s - at_s) < 0.45].mean() for at_s in (20.0, 21.0))
    assert (abs(after / before - 1.0) > 0.1) == is_said
    assert any("the room's own infrared was not measured" in line for line in result.warnings) == is_said


def test_a_light_stepped_with_a_dark_frame_moves_nothing_and_is_said(tmp_path: Path) -> None:
    """As above, with one unlit frame where the light was stepped; figures are those of the run at one level."""
    camera = CameraDescription("test", 64, 64, black_level=20.0)
    found = {}
    for second in (1.0, 0.5):
        rng, path = np.random.default_rng(1), tmp_path / f"{second}.zarr"
        with RecordingWriter(path, camera, Calibration.assumed(camera), started_at="") as writer:
            for number in range(300):
                level = 0.0 if number == 205 else 1.0 if number < 205 else second
                counts = 60.0 + level * bolus(number, 400.0)
                pixels = np.rint(20 + rng.poisson(np.full(camera.shape, counts * 10)) / 10).astype(np.uint16)
                writer.append(Frame(pixels, number, number * 10**8, 8000.0, 1.0, level, level > 0))
        with Recording.open(path) as recording:
            found[second] = analyse(recording, "base:20,20,30,30", ["tip:5,5,10,10"], follow_motion=False)
    for name in ("base", "tip"):
        steady, stepped = (each.curves[name] for each in found.values())
        late = stepped.times_s > 20.6
        moved = stepped.signal[late].mean() / steady.signal[late].mean() - 1.0
        assert moved == pytest.approx(0.0, abs=0.01)
    steady, stepped = (each.parameters["tip"].area_percent_s for each in found.values())
    assert stepped.value == pytest.approx(steady.value, abs=2.0 * math.hypot(stepped.u, steady.u))
    assert any("what steps made of it is taken off" in line for line in found[0.5].warnings)
    assert not any("stepped" in line for line in found[1.0].warnings)


def bolus(number: int, top: float) -> float:
    x = max(number / 10 - 2.0, 0.0) / 3.0
    return 20.0 + top * x**3 * math.exp(3 * (1 - x))


@pytest.mark.parametrize(
    ("top", "frames", "reference", "line"),
    [
        (
            0.0,
            120,
            "base:20,20,40,60",
            "the reference stays as dark as before the dye: base; choose another reference, where the",
        ),
        (
            1500.0,
            120,
            "base:20,20,40,60",
            r"the reference is saturated: base, in \d+ of 120 frames; choose another reference, or",
        ),
        (
            400.0,
            8,
            "base:20,20,40,60",
            "too few lit frames to read a curve: 8; record at least 12, over the whole inflow",
        ),
        (
            400.0,
            120,
            "base:200,20,40,60",
            "region lies outside the picture: base:200,20,40,60; the picture is 160 x 120 pixels",
        ),
    ],
)
def test_a_reference_that_cannot_count_as_100_percent_is_refused(
    tmp_path: Path, top: float, frames: int, reference: str, line: str
) -> None:
    path = written(tmp_path / "a.zarr", lambda n: (bolus(n, top), bolus(n, 200.0)), frames)
    given = [str(path), "--reference", reference, "--region", "tip:100,20,40,60"]
    done = CliRunner().invoke(analyse_command, given)
    assert isinstance(done.exception, Refused)
    assert re.match(line, done.exception.line), done.exception.line


def test_a_reference_bathed_in_dye_from_the_start_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path / "a.zarr", lambda n: (bolus(n + 30, 400.0), bolus(n, 200.0)), 120)
    given = [str(path), "--reference", "base:20,20,40,60", "--region", "tip:100,20,40,60"]
    done = CliRunner().invoke(analyse_command, given)
    assert isinstance(done.exception, Refused)
    assert "the reference cannot count as 100 %: base, no baseline" in done.exception.line


def test_a_dark_and_a_saturated_region_are_nulls_with_a_flag(tmp_path: Path) -> None:
    path = written(tmp_path / "a.zarr", lambda n: (bolus(n, 400.0), bolus(n, 1500.0 if n < 100 else 0.0)), 120)
    with Recording.open(path) as recording:
        found = analyse(recording, "base:20,20,40,60", ["clipped:100,20,40,20"]).parameters["clipped"]
    assert "saturated" in found.flags
    assert found.peak_relative_percent.value is None
    path = written(tmp_path / "b.zarr", lambda n: (bolus(n, 400.0), 20.0), 120)
    done = CliRunner().invoke(
        analyse_command, [str(path), "--reference", "base:20,20,40,60", "--region", "dark:100,20,40,20", "--json"]
    )
    dark = json.loads(done.stdout)["regions"]["dark"]
    assert "no rise" in dark["flags"]
    assert dark["peak_relative_percent"] == {"value": None, "u": None}
    assert dark["first_pass"] is None
    at_peak = dark["relative_percent_at_reference_peak"]
    assert abs(at_peak["value"]) < 4 * at_peak["u"] < 1


def marked(path: Path, events: list[tuple[str, dict[str, object]]]) -> Recording:
    camera = CameraDescription("test", 160, 120)
    with RecordingWriter(path, camera, Calibration.assumed(camera), started_at="") as writer:
        for kind, fields in events:
            writer.event(kind, 0, **fields)
    return Recording.open(path)


def test_marks_count_as_they_stood_at_the_end(tmp_path: Path) -> None:
    events: list[tuple[str, dict[str, object]]] = [
        ("reference", {"region": "old:1,1,5,5"}),
        ("region", {"region": "tip:1,1,5,5"}),
        ("region", {"region": "toe:2,2,5,5"}),
        ("region", {"region": "tip:9,9,5,5"}),
        ("region", {"region": None, "name": "toe"}),
        ("reference", {"region": None}),
        ("reference", {"region": "base:3,3,5,5"}),
    ]
    with marked(tmp_path / "a.zarr", events) as recording:
        assert reference_of(recording) == Region.parse("base:3,3,5,5")
        assert regions_of(recording) == (Region.parse("tip:9,9,5,5"),)
        assert regions_of(recording, ["tip", "x:1,1,2,2"]) == (Region.parse("tip:9,9,5,5"), Region.parse("x:1,1,2,2"))
    with marked(tmp_path / "b.zarr", events[:1] + events[5:6]) as recording:
        with pytest.raises(Refused, match="no reference is marked in this recording: b; give --reference"):
            reference_of(recording)
        with pytest.raises(Refused, match="the recording holds no frames"):
            analyse(recording)


def test_a_scene_region_lies_well_inside_what_shows_of_its_tissue() -> None:
    scene = Scene.from_values(
        {
            "camera": {"width": 200, "height": 100},
            "optics": {"mm_per_px": 1.0},
            "tissue": [
                {"name": "under", "polygon_mm": [[0, 0], [200, 0], [200, 100], [0, 100]]},
                {"name": "over", "polygon_mm": [[0, 0], [120, 0], [120, 100], [0, 100]]},
            ],
        },
        "test",
    )
    left, top, right, bottom = scene_region(scene, "under").bounds
    assert 125 < left < right < 195
    assert 5 < top < bottom < 95
