"""A stick that is pulled out once the device says that it can be: what a real file system on it holds at that moment."""

import hashlib
import json
import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner

from device.cli.export import command
from device.export.settled import settle


@contextmanager
def mounted(image: Path, folder: Path, options: str) -> Iterator[Path]:
    """An image as a disk, or the test is skipped where this machine has none such."""
    folder.mkdir()
    if subprocess.run(["mount", "-o", options, image, folder], capture_output=True).returncode:
        pytest.skip("this machine does not let root mount an image")
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)


@pytest.mark.skipif(
    os.geteuid() != 0 or not shutil.which("mkfs.ext4"), reason="only root may mount, and mkfs.ext4 makes the disk"
)
def test_pulled_out_when_it_is_said_all_of_it_is_there(recorded: Path, tmp_path: Path) -> None:
    stick, pulled = tmp_path / "stick.img", tmp_path / "pulled.img"
    with stick.open("wb") as file:
        file.truncate(64 << 20)
    subprocess.run(["mkfs.ext4", "-q", stick], check=True)
    with mounted(stick, tmp_path / "stick", "loop") as folder:
        (folder / "earlier.txt").write_text("held back by nobody's fault")
        ran = CliRunner().invoke(command, [str(recorded), str(folder), "--as", "csv,tiff", "--json"])
        assert json.loads(ran.stderr.splitlines()[-1]) == {"settled": True}
        shutil.copyfile(stick, pulled)  # still mounted: the disk as it would be in the hand
    with mounted(pulled, tmp_path / "elsewhere", "loop,ro,noload") as found:
        assert (found / "earlier.txt").read_text()
        made = found / recorded.stem
        for file in json.loads((made / "manifest.json").read_text())["files"]:
            assert hashlib.sha256((made / file["name"]).read_bytes()).hexdigest() == file["sha256"]


def test_a_drive_that_is_gone_is_not_settled(tmp_path: Path) -> None:
    assert settle(tmp_path)
    assert not settle(tmp_path / "gone")


def test_it_is_said_to_people_too(recorded: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("device.cli.export.settle", lambda _: False)
    ran = CliRunner().invoke(command, [str(recorded), str(tmp_path), "--as", "csv"])
    assert "switch the device off before you pull it out" in ran.stderr
    assert ran.exit_code == 0
