import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from device.cli.simulate import command
from device.simulate import simulate
from shared.errors import Refused
from shared.recording.recording import Recording
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer

TEXT = """
[camera]
width = 96
height = 80
[optics]
mm_per_px = 1.0
[dye]
injected_at_s = 0.4
[[tissue]]
name = "skin"
polygon_mm = [[5, 5], [60, 5], [60, 60], [5, 60]]
arrival_s = 0.2
alpha = 2
beta = 0.1
"""


@pytest.fixture
def scene_file(tmp_path: Path) -> Path:
    file = tmp_path / "harbour.toml"
    file.write_text(TEXT)
    return file


def test_a_recording_holds_frames_truth_and_injection(tmp_path: Path, scene_file: Path) -> None:
    seen: list[tuple[int, int]] = []
    scene = Scene.load(scene_file)
    summary = simulate(scene, tmp_path / "r.zarr", 1.0, 7, lambda done, total: seen.append((done, total)), TEXT)
    assert (summary.frames, summary.duration_s, summary.injected_at_s, summary.injection_assumed) == (
        30,
        1.0,
        0.4,
        False,
    )
    assert seen[0] == (1, 30)
    assert seen[-1] == (30, 30)
    with Recording.open(tmp_path / "r.zarr") as recording:
        assert recording.complete
        assert recording.frames == 30
        assert recording.gaps == 0
        assert recording.injected_at_ns == 400_000_000
        assert recording.extra == {"scene": TEXT, "seed": 7}
        assert recording.calibration.origin == "scene truth"
        renderer, expected = SceneRenderer(scene, 7), np.empty((80, 96), np.uint16)
        for number in (29, 0, 12):
            frame = recording.frame(number)
            renderer.frame_into(expected, number, frame.sensor_time_ns / 1e9 - 0.0075, 15_000.0)
            assert (frame.pixels == expected).all()
            assert frame.sensor_time_ns == pytest.approx(number * 1e9 / 30, abs=1)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["harbour.toml", "r.zarr"]


def test_the_store_bears_its_final_name(tmp_path: Path, scene_file: Path) -> None:
    simulate(Scene.load(scene_file), tmp_path / "quay.zarr", 0.1)
    assert (
        json.loads((tmp_path / "quay.zarr" / "zarr.json").read_text())["attributes"]["ome"]["multiscales"][0]["name"]
        == "quay"
    )


def test_nothing_half_written_is_left_when_it_fails(tmp_path: Path, scene_file: Path) -> None:
    def fail(done: int, total: int) -> None:
        if done == 10:
            raise OSError(28, "No space left on device")

    with pytest.raises(Refused, match="No space left on device"):
        simulate(Scene.load(scene_file), tmp_path / "r.zarr", 1.0, on_progress=fail)
    assert [path.name for path in tmp_path.iterdir()] == ["harbour.toml"]
    (tmp_path / "taken").write_text("mine")
    with pytest.raises(Refused, match="already something of this name"):
        simulate(Scene.load(scene_file), tmp_path / "taken", 1.0)
    assert (tmp_path / "taken").read_text() == "mine"


def test_the_command_prints_one_json_object_with_units(tmp_path: Path, scene_file: Path) -> None:
    out = tmp_path / "new" / "r.zarr"
    result = CliRunner().invoke(
        command, ["--scene", str(scene_file), "--out", str(out), "--seconds", "0.5", "--seed", "2", "--json"]
    )
    assert result.exit_code == 0, result.output
    said = json.loads(result.stdout)
    assert said["frames"] == 15
    assert said["injected_at_s"] == 0.4
    assert said["seed"] == 2
    assert {"duration_s", "wall_s", "frames_per_s", "width_px", "height_px"} <= set(said)
    assert out.is_dir()


def test_where_the_scene_waits_for_an_operator_the_dye_is_given_after_five_seconds_and_that_is_said(
    tmp_path: Path,
) -> None:
    file = tmp_path / "s.toml"
    file.write_text("[camera]\nwidth = 64\nheight = 64\n")
    result = CliRunner().invoke(command, ["--scene", str(file), "--out", str(tmp_path / "r.zarr"), "--seconds", "6"])
    assert "dye in at 5 s (the scene leaves it open" in result.stdout
    with Recording.open(tmp_path / "r.zarr") as recording:
        assert recording.injected_at_ns == 5_000_000_000


def test_a_wrong_scene_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_text("[camera]\nwidht = 64\n")
    result = CliRunner().invoke(command, ["--scene", str(file), "--out", str(tmp_path / "r.zarr")])
    assert isinstance(result.exception, Refused)
    assert "camera.widht" in result.exception.line
    assert [path.name for path in tmp_path.iterdir()] == ["s.toml"]
    missing = CliRunner().invoke(command, ["--scene", "lighthouse", "--out", str(tmp_path / "r.zarr")])
    assert isinstance(missing.exception, Refused)


def test_a_second_look_continues_the_scene(tmp_path: Path, scene_file: Path) -> None:
    """Frames from a later moment are those of one long recording, and both injections are marked."""
    long, late = tmp_path / "long.zarr", tmp_path / "late.zarr"
    for out, given in ((long, ["--seconds", "1"]), (late, ["--seconds", "0.5", "--from-s", "0.5"])):
        asked = ["--scene", str(scene_file), "--out", str(out), "--dye-in-s", "0.6", *given]
        assert CliRunner().invoke(command, asked, catch_exceptions=False).exit_code == 0
    with Recording.open(long) as whole, Recording.open(late) as part:
        assert np.array_equal(whole.pixels(15), part.pixels(0))
        assert np.array_equal(whole.frame_table.sensor_time_ns[15:], part.frame_table.sensor_time_ns)
        assert [mark.time_ns for mark in part.injections] == [400_000_000, 600_000_000]
        assert part.injected_at_ns == whole.injected_at_ns
