"""The whole device as one runs it: the job from photon to exported file, and what becomes of it when a process is killed.

Truth is the scene's own: levels and gamma variates composed plainly in shared/scene/truth.py, which knows nothing of the live path.
"""

import csv
import hashlib
import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
import psutil
import pytest
import simplejpeg
import tifffile
import zarr
import zarr.core.sync
from PIL import Image

from device.light.simulated_ring import RING_NAME, RingRecord, SimulatedRingReader
from shared.protocol import control as c
from shared.protocol.control_client import ControlClient
from shared.recording import Recording
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from shared.scene.truth import SceneTruth
from tests.bench.conftest import BASE, TIP
from tests.bench.running_demo import Demo, NotAnswered, Picture, running_demo, wait_for

FILLED_S = 5.0
"""The scene's slower tissue peaks 2.2 s after the injection."""
DARK_WITHIN_NS = 150_000_000
LOST_AT_MOST_S = 1.0
STOPPED_WITHIN_S = 20.0
"""Who did not stop within five seconds is killed, which would be said; a busy machine then takes a while to say anything."""


@dataclass(frozen=True)
class Job:
    """The main job, done once: what was seen, and what it left behind."""

    pictures: tuple[Picture, ...]
    recording: Path
    state: c.State


@pytest.fixture(scope="module")
def job(demo: Demo) -> Job:
    """Light, reference, region, dye, and a recording stopped after a few seconds."""
    demo.full_light()
    demo.ask("PUT", "reference", {"region": BASE})
    demo.ask("PUT", "regions", {"region": TIP})
    with demo.held_light(), demo.stream() as stream:
        lit_in_a_row = 0
        while lit_in_a_row < 30:  # the baseline is the mean of about the last second of light
            lit_in_a_row = lit_in_a_row + 1 if stream.picture().header["lit"] else 0
        demo.ask("POST", "injection", {"undo": False})
        pictures: list[Picture] = []
        while not pictures or pictures[-1].header["since_injection_s"] < FILLED_S:
            pictures.append(stream.until(lambda picture: picture.header["since_injection_s"] is not None, "dye"))
        with ControlClient(demo.run_folder / "control.sock") as client:
            state = client.ask_for(c.State, c.GetState())
        demo.ask("POST", "notes", {"text": "tip fills late"})
        demo.ask("POST", "recording", {"act": "stop"})
    demo.recording_written()
    assert state.recording.name is not None
    assert pictures[-1].header["baseline"]
    return Job(tuple(pictures), demo.data / "recordings" / f"{state.recording.name}.zarr", state)


@pytest.fixture(scope="module")
def truth(scene_file: Path) -> SceneTruth:
    """The scene's own values, dye given at 0."""
    renderer = SceneRenderer(Scene.load(scene_file))
    renderer.inject(0.0)
    return renderer.truth


@pytest.fixture(autouse=True)
def _zarr_threads() -> Iterator[None]:
    """zarr-python keeps an event loop and its pool for good; nothing of ours may."""
    yield
    zarr.core.sync.cleanup_resources()


def exposed_s(picture: Picture, injected_ns: int) -> float:
    """Seconds from the injection to the middle of a picture's exposure."""
    header = picture.header
    return float((header["sensor_time_ns"] - injected_ns) / 1e9 - header["exposure_us"] / 2e6)


def ring(demo: Demo) -> Iterator[RingRecord | None]:
    """What the simulated ring did, again and again."""
    reader = SimulatedRingReader(demo.run_folder / RING_NAME)
    try:
        while True:
            yield reader.record()
    finally:
        reader.close()


def test_values_are_those_of_the_scene(job: Job, truth: SceneTruth) -> None:
    checked = 0
    with Recording.open(job.recording) as recording:
        injected_ns = recording.injected_at_ns
    assert injected_ns is not None
    for picture in job.pictures:
        at_s, (value,) = exposed_s(picture, injected_ns), picture.header["values"]
        # A frame in which the light went on or off saw ambient light for longer than the dye's.
        if at_s < 1.5 or value["flag"] or picture.header["light_level"] < 1.0:
            continue
        assert picture.header["since_injection_s"] == pytest.approx(at_s, abs=0.5)
        # Beyond noise: the curve's bow within an exposure of 15 ms, and rounding to whole counts.
        assert value["percent"] == pytest.approx(truth.relative_percent("tip", at_s), abs=5 * value["percent_u"] + 0.1)
        checked += 1
    assert checked >= 20
    seen = [picture.percents["tip"] for picture in job.pictures if picture.percents["tip"] is not None]
    assert max(seen) - min(seen) > 10, "the values should have followed the inflow"


def test_pictures_are_live_and_their_own(job: Job) -> None:
    sequences = [picture.header["sequence"] for picture in job.pictures]
    assert sequences == sorted(set(sequences))
    assert np.median([picture.age_ms for picture in job.pictures]) < 200
    lit = [picture for picture in job.pictures if picture.header["lit"]]
    first, last = (simplejpeg.decode_jpeg(picture.jpeg, "RGB").astype(float) for picture in (lit[0], lit[-1]))
    assert first.shape == (544, 728, 3)
    assert np.abs(last - first).mean() > 10, "dye changes the picture"
    base, tip = last[200:280, 100:180].mean((0, 1)), last[200:280, 500:580].mean((0, 1))
    assert np.abs(base - tip).max() > 30, "100 % and the tip's percentage have different colours"


def test_the_control_socket_says_what_the_page_says(job: Job) -> None:
    assert job.state.camera.kind == "simulated"
    assert job.state.calibration == "scene truth"
    assert job.state.light.state in ("lit", "tripped")
    assert [region.name for region in job.state.regions] == ["tip"]
    assert job.state.recording.frames > 60


def test_the_recording_opens_here_and_in_zarr_python(job: Job) -> None:
    array = zarr.open_group(job.recording, mode="r")["image"]
    assert isinstance(array, zarr.Array)
    with Recording.open(job.recording) as recording:
        assert recording.complete
        assert recording.camera.shape == (544, 728)
        assert {"injection", "reference", "region", "note"} <= {event.kind for event in recording.events}
        assert array.shape[0] == recording.frames > 60
        for number in (0, recording.frames // 2, recording.frames - 1):
            np.testing.assert_array_equal(np.squeeze(np.asarray(array[number])), recording.pixels(number))


def test_analysis_finds_the_scenes_level(job: Job) -> None:
    command = [sys.executable, "-m", "device", "analyse", str(job.recording), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    found = json.loads(done.stdout)
    assert found["reference"] == "base"
    assert found["regions"]["tip"]["peak_relative_percent"]["value"] == pytest.approx(35.0, abs=2.0)
    assert found["regions"]["tip"]["arrival_s"]["value"] == pytest.approx(0.8, abs=0.4)


def test_export_writes_every_format_and_its_checksums(demo: Demo, job: Job, tmp_path: Path) -> None:
    asked = {"recording": job.recording.stem, "formats": ["csv", "png", "tiff", "mp4"], "target": str(tmp_path)}
    assert demo.ask("POST", "exports", asked)["finished"] is False
    done = wait_for(
        lambda: next((one for one in demo.state()["exports"] if one["finished"]), None), "export done", seconds=60
    )
    assert done["error"] == ""
    folder = tmp_path / job.recording.stem
    names = {path.name for path in folder.iterdir()}
    assert {
        "curves.csv",
        "figures.csv",
        "frames.csv",
        "events.csv",
        "frames.tif",
        "picture.mp4",
        "manifest.json",
    } <= names
    assert any(name.endswith(".png") for name in names)
    assert {Path(file).name for file in done["files"]} == names
    manifest = json.loads((folder / "manifest.json").read_text())
    assert {file["name"] for file in manifest["files"]} == names - {"manifest.json"}
    for file in manifest["files"]:
        assert file["sha256"] == hashlib.sha256((folder / file["name"]).read_bytes()).hexdigest()
    check_contents(folder, job)


def check_contents(folder: Path, job: Job) -> None:
    """Exported frames are the recorded ones; the video plays from end to end; tables have a row a frame."""
    with Recording.open(job.recording) as recording:
        with tifffile.TiffFile(folder / "frames.tif") as stack:
            assert len(stack.pages) == recording.frames
            np.testing.assert_array_equal(stack.pages[30].asarray(), recording.pixels(30))
        with av.open(str(folder / "picture.mp4")) as video:
            assert video.streams.video[0].codec_context.name == "h264"
            assert sum(1 for _ in video.decode(video=0)) >= recording.frames
        with (folder / "frames.csv").open(newline="") as table:
            assert len(list(csv.DictReader(table))) == recording.frames
    for still in folder.glob("*.png"):
        with Image.open(still) as picture:
            picture.verify()


def test_a_still_is_kept_and_given_back(demo: Demo, job: Job) -> None:
    name = demo.ask("POST", "stills", {})["name"]
    assert (demo.data / "stills" / f"{name}.png").is_file()
    with Image.open(demo.data / "stills" / f"{name}.png") as still:
        assert still.width == 728
        assert still.height > 544, "the legend is beneath"


def test_a_killed_imager_leaves_the_dark_and_the_recording_and_comes_back(demo: Demo) -> None:
    demo.ask("POST", "recording", {"act": "start", "case": "quay-7"})
    with demo.held_light():
        wait_for(lambda: demo.state()["recording"]["seconds"] > 2.0, "two seconds recorded")
        wait_for(lambda: demo.state()["light"]["state"] == "lit", "lit")
        name = demo.state()["recording"]["name"]
        imager, before = demo.child("imager"), demo.state()
        records = ring(demo)
        killed_ns = time.monotonic_ns()
        imager.kill()
        dark_ns = wait_for(lambda: _dark_since(next(records), killed_ns), "ring dark", 2.0)
        records.close()
    assert dark_ns - killed_ns < DARK_WITHIN_NS
    with demo.stream() as stream:
        stream.until(lambda picture: picture.header["sensor_time_ns"] > killed_ns, "pictures again")
    assert demo.child("imager").pid != imager.pid
    after = demo.state()
    assert after["reference"]["region"] == BASE
    assert [one["region"] for one in after["regions"]] == [one["region"] for one in before["regions"]]
    assert after["since_injection_s"] > before["since_injection_s"]
    assert any("the imager was restarted" in line for line in after["warnings"])
    assert "imager ended (signal SIGKILL), starting it again" in demo.messages.read_text()
    with Recording.open(demo.data / "recordings" / f"{name}.zarr") as recording:
        assert not recording.complete
        assert recording.case == "quay-7"
        last_ns = int(recording.frame_table.sensor_time_ns[-1])
        assert (killed_ns - last_ns) / 1e9 < LOST_AT_MOST_S
        assert recording.pixels(recording.frames - 1).max() > 0


def _dark_since(record: RingRecord | None, moment_ns: int) -> int | None:
    """When the ring went dark after ``moment_ns``; None while it has not."""
    assert record is not None
    last = record.changes[-1]
    return last.at_ns if last.level == 0 and last.at_ns > moment_ns else None


def test_after_a_killed_imager_light_needs_a_deliberate_act(demo: Demo) -> None:
    state = demo.state()
    assert state["light"]["state"] != "lit"
    assert state["recording"]["name"] is None
    with demo.held_light():
        assert demo.state()["light"]["state"] in ("lit", "tripped")


def test_a_killed_web_process_comes_back_and_knows_the_browser(demo: Demo) -> None:
    killed, cookie = demo.child("web"), demo.cookie
    killed.kill()
    wait_for(lambda: (child := demo._child("web")) is not None and child.pid != killed.pid, "web started again")
    wait_for(lambda: demo.answering("GET", "state"), "the page answers")
    assert demo.cookie == cookie
    with demo.stream() as stream:
        stream.picture()


def test_a_killed_guard_is_dark_and_stays_dark_until_light_is_asked_for_anew(demo: Demo) -> None:
    with demo.held_light():
        pass  # armed, whatever went before
    demo.light("on")
    wait_for(lambda: demo.light("on")["light"]["state"] == "lit", "lit")
    guard = demo.child("light guard")
    killed_ns = time.monotonic_ns()
    guard.kill()
    wait_for(lambda: (child := demo._child("light guard")) is not None and child.pid != guard.pid, "guard back")

    def back_under_a_finger_that_never_left() -> bool:
        light = demo.light("on")["light"]
        assert light["state"] != "lit" or not light["reachable"]
        return light["reachable"]

    wait_for(back_under_a_finger_that_never_left, "the imager talks to the new guard")
    record = next(ring(demo))
    assert record is not None
    assert record.level_at(time.monotonic_ns()) == 0.0
    with demo.stream() as stream:
        for _ in range(10):
            picture = stream.picture()
            assert demo.light("on")["light"]["state"] != "lit", "light came back without a finger lifted"
        assert picture.header["sensor_time_ns"] > killed_ns
        assert not picture.header["lit"]
    demo.light("off")
    with demo.held_light():
        assert demo.state()["light"]["state"] == "lit"


def test_sigterm_ends_all_and_finishes_the_recording(tmp_path: Path, scene_file: Path, settings_file: Path) -> None:
    options = ("--scene", str(scene_file), "--settings", str(settings_file))
    with running_demo(tmp_path, *options) as demo:
        demo.ask("POST", "recording", {"act": "start", "case": ""})
        demo.light("on")
        wait_for(lambda: demo.state()["recording"]["frames"] > 15, "half a second recorded")
        name = demo.state()["recording"]["name"]
        family = demo.parent.children(recursive=True)
        assert len(family) == 5, "guard with its sensors, imager with its reader of maps, web"
        demo.process.send_signal(signal.SIGTERM)
        assert demo.process.wait(STOPPED_WITHIN_S) == 0
        assert not [one for one in family if one.is_running() and one.status() != psutil.STATUS_ZOMBIE]
        assert not demo.run_folder.exists()
        assert demo.messages.read_text() == ""
        with pytest.raises(NotAnswered):
            demo.ask("GET", "state")
    with Recording.open(tmp_path / "data" / "recordings" / f"{name}.zarr") as recording:
        assert recording.complete
        assert recording.frames > 15
