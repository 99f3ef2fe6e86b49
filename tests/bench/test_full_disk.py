"""A disk that fills up while a recording runs: a real small file system in memory, which only root can mount."""

import os
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from shared.recording import Recording
from tests.bench.running_demo import Demo, NotAnswered, running_demo, wait_for

pytestmark = pytest.mark.skipif(os.geteuid() != 0, reason="mounting a file system needs root")

SIZE_MB = 60
LEAST_FREE_MB = 20


@dataclass(frozen=True)
class SmallDisk:
    """A demo whose recordings go to a small file system."""

    demo: Demo
    mount: Path

    @property
    def filler(self) -> Path:
        return self.mount / "somebody elses film"

    def fill(self) -> None:
        """Take every byte that is left, as fast as the machine can."""
        with self.filler.open("wb", buffering=0) as file:
            try:
                while file.write(bytes(1 << 20)):
                    pass
            except OSError:
                return

    def recording(self, name: str) -> Path:
        return self.demo.data / "recordings" / f"{name}.zarr"

    def start(self) -> str:
        """Name of a recording that runs."""
        name = self.demo.ask("POST", "recording", {"act": "start", "case": ""})["recording"]["name"]
        assert isinstance(name, str)
        return name

    def ended(self) -> str:
        """Why the recording ended by itself, once it did and is written."""
        state = wait_for(
            lambda: (now := self.demo.state()["recording"])["name"] is None and now, "the recording ended", seconds=60
        )
        because = state["ended_because"]
        assert isinstance(because, str)
        return because


@pytest.fixture(scope="module")
def disk(tmp_path_factory: pytest.TempPathFactory, scene_file: Path) -> Iterator[SmallDisk]:
    folder = tmp_path_factory.mktemp("small")
    (folder / "data").mkdir()
    (folder / "settings.toml").write_text(f"[recording]\nleast_free_mb = {LEAST_FREE_MB}\n")
    options = ["-t", "tmpfs", "-o", f"size={SIZE_MB}m", "tmpfs", str(folder / "data")]
    mounted = subprocess.run(["mount", *options], capture_output=True, text=True, check=False)
    if mounted.returncode != 0:
        pytest.skip(f"no file system can be mounted here: {mounted.stderr.strip()}")
    try:
        settings = str(folder / "settings.toml")
        with running_demo(folder, "--scene", str(scene_file), "--settings", settings) as demo:
            yield SmallDisk(demo, folder / "data")
    finally:
        subprocess.run(["umount", "--lazy", str(folder / "data")], check=True)


def test_a_recording_that_fills_the_disk_stops_and_keeps_what_was_written(disk: SmallDisk) -> None:
    name = disk.start()
    because = disk.ended()
    assert because.startswith("the disk is nearly full: ")
    assert f"recording.least_free_mb is {LEAST_FREE_MB}" in because
    kept = disk.demo.state()["recording"]["frames"]
    assert kept > 15
    with Recording.open(disk.recording(name)) as recording:
        assert recording.complete
        assert recording.frames == kept
        assert recording.pixels(kept - 1).shape == (544, 728)
        assert [event.fields["reason"] for event in recording.events if event.kind == "end"] == [because]
    with disk.demo.stream() as stream:
        first = stream.picture().header["sequence"]
        stream.until(lambda picture: picture.header["sequence"] > first + 10, "pictures go on")


def test_without_room_the_next_recording_is_refused_in_one_line(disk: SmallDisk) -> None:
    with pytest.raises(NotAnswered) as refused:
        disk.start()
    assert refused.value.status == 400
    assert "no room to record" in refused.value.line
    assert f"recording.least_free_mb is {LEAST_FREE_MB}" in refused.value.line
    assert disk.demo.state()["recording"]["name"] is None


@pytest.mark.browser
def test_the_page_says_so(disk: SmallDisk, opened: Callable[..., Page]) -> None:
    page = opened(f"{disk.demo.url}/#pair={disk.demo.word}")
    expect(page.locator("#line-text")).to_contain_text("The recording stopped by itself: the disk is nearly full")
    expect(page.locator("#live-word")).to_have_text("LIVE")
    expect(page.locator("#recording-word")).to_have_text("Not recording")


def test_a_disk_that_somebody_else_fills_in_a_moment_loses_nothing_written(disk: SmallDisk) -> None:
    for old in disk.demo.data.glob("recordings/*"):
        subprocess.run(["rm", "-r", str(old)], check=True)
    name = disk.start()
    wait_for(lambda: disk.demo.state()["recording"]["frames"] > 20, "20 frames")
    disk.fill()
    because = disk.ended()
    assert because.startswith("the disk is ")
    with Recording.open(disk.recording(name)) as recording:
        assert recording.frames > 15
        assert recording.pixels(recording.frames - 1).max() > 0
    disk.filler.unlink()
    again = disk.start()
    wait_for(lambda: disk.demo.state()["recording"]["frames"] > 10, "recording again")
    assert disk.demo.state()["recording"]["ended_because"] == ""
    disk.demo.ask("POST", "recording", {"act": "stop"})
    disk.demo.recording_written()
    with Recording.open(disk.recording(again)) as recording:
        assert recording.complete
