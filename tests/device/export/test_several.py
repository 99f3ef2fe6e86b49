"""Several recordings in one go, through the command line: each whole or not at all, and none holds up the others."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from device.cli.export import command
from device.export import job
from device.export.delivery import ExportCancelled
from shared.errors import Refused
from tests.many_recordings import many_recordings


def arguments(folder: Path, names: list[str], stick: Path) -> list[str]:
    first, *others = (str(folder / f"{name}.zarr") for name in names)
    return [first, str(stick), "--as", "csv", "--json", *(word for other in others for word in ("--after-it", other))]


def test_one_that_cannot_be_written_is_told_and_the_others_are_whole(tmp_path: Path) -> None:
    folder, stick = tmp_path / "recordings", tmp_path / "stick"
    stick.mkdir()
    names = many_recordings(folder, 3)
    (folder / f"{names[1]}.zarr" / "zarr.json").unlink()
    ran = CliRunner().invoke(command, arguments(folder, names, stick))
    assert isinstance(ran.exception, Refused)
    assert "could not be written: 1 of 3" in ran.exception.line
    found = json.loads(ran.stdout)
    assert [one["recording"] for one in found["exports"]] == [names[0], names[2]]
    assert [one["recording"] for one in found["failed"]] == [names[1]]
    assert {path.name for path in stick.iterdir()} == {names[0], names[2]}
    shares = [json.loads(line) for line in ran.stderr.splitlines()]
    assert shares[-1] == {"settled": True}
    assert [one["recording"] for one in shares if "recording" in one] == names
    done = [one["done"] for one in shares if "done" in one]
    assert done == sorted(done)
    assert done[-1] == 1.0


def test_stopped_in_the_second_the_first_one_stays_and_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder, stick = tmp_path / "recordings", tmp_path / "stick"
    stick.mkdir()
    names = many_recordings(folder, 2)
    written = job.write_events

    def write_events(path: Path, recording: object) -> None:
        if names[1] in str(path):
            raise ExportCancelled
        written(path, recording)  # type: ignore[arg-type]

    monkeypatch.setattr(job, "write_events", write_events)
    ran = CliRunner().invoke(command, arguments(folder, names, stick))
    assert isinstance(ran.exception, Refused)
    assert "the export was stopped" in ran.exception.line
    assert [one["recording"] for one in json.loads(ran.stdout)["exports"]] == [names[0]]
    assert {path.name for path in stick.iterdir()} == {names[0]}
