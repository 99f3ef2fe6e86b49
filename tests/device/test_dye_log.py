"""The dye record of a case: lines only added, recordings counted once, through the command line too."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from device.cli.dye import command
from device.dye_log import FOLDER, DyeLog
from device.removed_recordings import RemovedRecordings
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.recording.writer import RecordingWriter

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
CAMERA = CameraDescription("test", 64, 64)


def recorded(path: Path, started_at: datetime | None, marks: dict[int, float | None], case: str = "K-3") -> None:
    """A short recording by a sensor whose clock showed 100 s at ``NOW``; marks by that clock's seconds."""
    first_s = 100 + round((started_at - NOW).total_seconds()) if started_at else 100
    text = started_at.isoformat() if started_at else ""
    with RecordingWriter(path, CAMERA, Calibration.assumed(CAMERA), started_at=text, case=case) as writer:
        for time_s, dose_mg in marks.items():
            writer.event("injection", time_s * 10**9, **({} if dose_mg is None else {"dose_mg": dose_mg}))
        writer.append(Frame(np.full((64, 64), 9, np.uint16), 0, first_s * 10**9, 8000.0))


def test_entries_are_only_added_and_taken_back_by_further_ones(tmp_path: Path) -> None:
    log = DyeLog(tmp_path)
    assert log.weigh("K-3", 70.0, NOW) == 1
    assert log.give("K-3", 50.0, NOW, NOW) == 2
    assert log.give("K-3", 5.0, NOW - timedelta(minutes=10), NOW) == 3
    before = (tmp_path / FOLDER / "K-3.jsonl").read_bytes()
    assert log.undo("K-3", 2, NOW) == 4
    assert (tmp_path / FOLDER / "K-3.jsonl").read_bytes().startswith(before)
    record = log.read("K-3")
    assert [(dose.line, dose.injection.dose_mg) for dose in record.doses] == [(3, 5.0)]
    assert record.so_far(NOW).given_mg == 5.0
    assert record.so_far(NOW).limit_mg == 140.0
    assert log.cases() == ("K-3",)
    for number in (2, 4, 9):
        with pytest.raises(Refused):
            log.undo("K-3", number, NOW)


def test_a_torn_or_nonsensical_line_is_said_and_loses_no_other(tmp_path: Path) -> None:
    log = DyeLog(tmp_path)
    log.give("K-3", 5.0, NOW, NOW)
    with (tmp_path / FOLDER / "K-3.jsonl").open("ab") as file:
        file.write(
            b'{"kind": "given", "at": "2026-11-25T12:00:00+00:00", "entered_at": "", "dose_mg": -4}\n{"kind": "giv'
        )
    assert log.give("K-3", 2.5, NOW, NOW) == 4
    record = log.read("K-3")
    assert [dose.injection.dose_mg for dose in record.doses] == [5.0, 2.5]
    assert [
        "line 2" in record.problems[0] or "dose is above 0" in record.problems[0],
        "line 3" in record.problems[1],
    ] == [
        True,
        True,
    ]


def test_recordings_of_the_case_count_once(tmp_path: Path) -> None:
    """A recording is told of all injections since the device was switched on: they count where they were marked.

    c is another case's; e knows of an injection that no recording of the case saw.
    """
    recorded(tmp_path / "a.zarr", NOW, {98: 5.0})
    recorded(tmp_path / "b.zarr", NOW + timedelta(seconds=60), {98: None, 190: None})
    recorded(tmp_path / "c.zarr", NOW, {98: 5.0}, "K-4")
    recorded(tmp_path / "d.zarr", None, {110: 5.0})
    recorded(tmp_path / "e.zarr", NOW + timedelta(minutes=30), {1700: 7.0})
    log = DyeLog(tmp_path)
    record = log.read("K-3")
    assert [(dose.injection.at - NOW, dose.injection.dose_mg) for dose in record.doses] == [
        (timedelta(seconds=-2), 5.0),
        (timedelta(seconds=90), None),
    ]
    said = " | ".join(record.problems)
    assert "nobody knows when this recording was made: d" in said
    assert "e mentions an injection at 2026-11-25T12:26:40.000+00:00, before it began: not counted" in said
    assert record.so_far(NOW).without_dose == 1
    log.give("K-3", 2.5, NOW + timedelta(minutes=1), NOW + timedelta(minutes=1))  # the dose of the second mark
    typed = log.read("K-3")
    assert typed.so_far(NOW).without_dose == 0
    assert typed.so_far(NOW).given_mg == 7.5


def test_each_typed_dose_is_that_of_one_mark(tmp_path: Path) -> None:
    """Two injections within two minutes, and one dose entered: the other's is still missing, and said to be."""
    recorded(tmp_path / "a.zarr", NOW, {100: None, 160: None})
    log = DyeLog(tmp_path)
    assert log.read("K-3").so_far(NOW).without_dose == 2
    log.give("K-3", 5.0, NOW + timedelta(seconds=70), NOW + timedelta(seconds=70))
    record = log.read("K-3")
    assert [dose.injection.dose_mg for dose in record.doses] == [None, 5.0]
    assert record.doses[0].injection.at == NOW, "the nearer mark has the dose"
    log.give("K-3", 5.0, NOW, NOW + timedelta(seconds=70))
    assert log.read("K-3").so_far(NOW + timedelta(seconds=70)).without_dose == 0


def test_a_mark_is_taken_back_by_its_moment_and_only_once(tmp_path: Path) -> None:
    recorded(tmp_path / "a.zarr", NOW, {100: None, 400: 5.0})
    log = DyeLog(tmp_path)
    assert log.undo_mark("K-3", NOW.isoformat(timespec="seconds"), NOW) == 1
    record = log.read("K-3")
    assert [dose.injection.dose_mg for dose in record.doses] == [5.0]
    assert record.so_far(NOW).without_dose == 0
    for at, words in (
        (NOW.isoformat(), "marks an injection at that moment"),
        ((NOW + timedelta(seconds=290)).isoformat(), "marks an injection at that moment"),
        ("noon", "no moment: noon"),
        ("2026-11-25T12:00:00", "without a time zone"),
    ):
        with pytest.raises(Refused, match=words) as refused:
            log.undo_mark("K-3", at, NOW)
        listed, form = refused.value.remedy.split(", such as ")
        assert listed == "name one that `tapetum dye CASE --json` lists"
        assert datetime.fromisoformat(form).tzinfo is not None
    assert log.undo("K-3", 1, NOW) == 2, "it had gone in all the same"
    assert len(log.read("K-3").doses) == 2
    typed = log.give("K-3", 2.0, NOW + timedelta(hours=1), NOW + timedelta(hours=1))
    with pytest.raises(Refused, match="marks an injection"):
        log.undo_mark("K-3", (NOW + timedelta(hours=1)).isoformat(), NOW)
    assert typed == 3


def test_dye_of_a_removed_recording_went_in_all_the_same(tmp_path: Path) -> None:
    recorded(tmp_path / "a.zarr", NOW, {101: 5.0})
    recorded(tmp_path / "b.zarr", NOW, {101: 5.0}, "K-4")
    log, removed = DyeLog(tmp_path), RemovedRecordings(tmp_path, 0, lambda _: 1)
    removed.remove("b", NOW)
    assert log.read("K-3").problems == ()
    gone = removed.remove("a", NOW)
    record = log.read("K-3")
    assert record.so_far(NOW).given_mg == 5.0
    assert record.problems == ("injections marked in recordings that were removed, which count all the same: 1",)
    removed.restore(gone.removed)
    assert log.read("K-3").problems == ()
    assert log.read("K-3").so_far(NOW).given_mg == 5.0


def test_the_command(tmp_path: Path) -> None:
    def run(*given: str) -> dict[str, object]:
        done = CliRunner().invoke(command, [*given, "--data", str(tmp_path), "--json"], catch_exceptions=False)
        return dict(json.loads(done.stdout))

    said = run("K-3", "--body-mass-kg", "70", "--give", "5", "--minutes-ago", "10")
    assert (said["given_mg"], said["limit_mg"], said["volume_ml"]) == (5.0, 140.0, 2.0)
    assert said["left_mg"] == [
        pytest.approx(0.3125, abs=1e-3),
        pytest.approx(0.8839, abs=1e-3),
    ]  # 2^-4 and 2^-2.5 of 5 mg
    assert any("iodide" in line for line in said["cautions"])  # type: ignore[attr-defined]
    assert run("K-3", "--undo", "2")["given_mg"] == 0
    assert [case["case"] for case in run()["cases"]] == ["K-3"]  # type: ignore[attr-defined]
    readable = (
        CliRunner().invoke(command, ["K-3", "--give", "140", "--data", str(tmp_path)], catch_exceptions=False).stdout
    )
    assert "100 % of the label's limit of 140 mg for 70 kg" in readable
    assert "warning: 140 mg reach or pass" in readable
    assert "never a prescription" not in readable
    assert "licensed practice decide" in readable
    recorded(
        tmp_path / "a.zarr",
        datetime.now(UTC) + timedelta(hours=1),
        {round(100 + (datetime.now(UTC) - NOW).total_seconds()) + 3600: None},
    )
    ahead = CliRunner().invoke(command, ["K-3", "--data", str(tmp_path)], catch_exceptions=False).stdout
    assert "K-3: at least 140 mg of dye given" in ahead
    assert "ahead of the clock" in ahead
    assert "min ago  dose not entered" not in ahead
    at = next(one["at"] for one in run("K-3")["injections"] if one["line"] is None)  # type: ignore[attr-defined]
    assert [one["dose_mg"] for one in run("K-3", "--undo-mark", at)["injections"]] == [140.0]  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("given", "line"),
    [
        (["K-3", "--give", "-5"], "a dose is above 0 and at most 500 mg: -5.0; enter milligrams"),
        (["K-3", "--give", "nan"], "a dose is above 0"),
        (["K-3", "--give", "-5", "--body-mass-kg", "70"], "a dose is above 0"),
        (["K-3", "--body-mass-kg", "401"], "a body mass is from 1 to 400 kg: 401.0"),
        (["K-3", "--give", "5", "--minutes-ago", "-1"], "--minutes-ago is 0 to 10080"),
        (["K-3", "--minutes-ago", "1"], "--minutes-ago is 0 to 10080 and belongs to --give"),
        (["A B", "--give", "5"], "not a case code: A B"),
        (["--give", "5"], "an entry needs a case code"),
        (["K-3", "--give", "5", "--undo", "99"], "what is entered and what is taken back are two commands: K-3"),
        (
            ["K-3", "--body-mass-kg", "70", "--undo-mark", "x"],
            "what is entered and what is taken back are two commands",
        ),
        (["K-3", "--undo", "1", "--undo-mark", "x"], "what is entered and what is taken back are two commands"),
        (["K-3", "--undo", "1"], "no dose or body mass has this number: 1"),
        (
            ["K-3", "--undo-mark", "2026-11-25T12:00:00+00:00"],
            "no recording of this case marks an injection at that moment",
        ),
        (["K-3", "--undo-mark", "x"], "no moment: x; name one that `tapetum dye CASE --json` lists, such as 2026-"),
        (["--undo-mark", "2026-11-25T12:00:00+00:00"], "an entry needs a case code"),
    ],
)
def test_what_cannot_be_entered_leaves_nothing(tmp_path: Path, given: list[str], line: str) -> None:
    done = CliRunner().invoke(command, [*given, "--data", str(tmp_path)])
    assert isinstance(done.exception, Refused)
    assert line in done.exception.line
    assert list(tmp_path.iterdir()) == []
