"""The index against the folder itself: whatever came, went, changed or broke, by whomever, the list says what is there."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from device.case_change import change_case
from device.recording_index import FEW, FILE, RecordingIndex, Wanted
from device.recording_list import summaries
from shared.calibration import Calibration
from shared.recording.writer import RecordingWriter
from tests.many_recordings import CAMERA, FIRST, many_recordings, one_recording

EVERYTHING = Wanted()


def listed(folder: Path) -> list[str]:
    index = RecordingIndex(folder)
    assert index.refresh(None) == 0
    return [line.name for line in index.page(EVERYTHING).lines]


def test_it_lists_what_opening_each_one_lists(tmp_path: Path) -> None:
    many_recordings(tmp_path, 7)
    one_recording(tmp_path / "imported.zarr", started_at=None)
    index = RecordingIndex(tmp_path)
    assert index.refresh() == 0
    found, problems = summaries(tmp_path)
    page = index.page(EVERYTHING)
    assert (page.lines, page.total, page.next) == (found, 8, "")
    assert page.lines[-1].name == "imported"
    assert problems == ()


def test_paging_reaches_every_recording_once_while_others_come_and_go(tmp_path: Path) -> None:
    names = many_recordings(tmp_path, 11)
    index = RecordingIndex(tmp_path)
    index.refresh()
    seen: list[str] = []
    page = index.page(EVERYTHING, limit=4)
    while True:
        seen += [line.name for line in page.lines]
        if not page.next:
            break
        one_recording(tmp_path / f"2032-01-01T00-00-0{len(seen)}Z.zarr", started_at=FIRST.replace(year=2032))
        shutil.rmtree(tmp_path / f"{seen[-1]}.zarr")  # the cursor's own recording goes
        index.refresh()
        page = index.page(EVERYTHING, page.next, 4)
    assert seen == names[::-1]


def test_search_by_part_of_a_case_whole_case_and_time(tmp_path: Path) -> None:
    names = many_recordings(tmp_path, 12)
    index = RecordingIndex(tmp_path)
    index.refresh()

    def found(wanted: Wanted) -> list[str]:
        page = index.page(wanted)
        assert page.total == len(page.lines)
        return [line.name for line in page.lines][::-1]

    assert found(Wanted(case="K1-Heron")) == names[3:6]
    assert found(Wanted(case="")) == []
    assert found(Wanted(text="k3-")) == names[9:]
    assert found(Wanted(text="%")) == found(Wanted(text="_Heron_")) == []
    assert found(Wanted(from_at="2031-01-01T08:37:00+00:00", until_at="2031-01-01T09:51:00+00:00")) == names[1:3]
    assert found(Wanted(text="'; DROP TABLE recordings; --")) == []


def test_cases_by_their_newest_recording(tmp_path: Path) -> None:
    many_recordings(tmp_path, 8)
    index = RecordingIndex(tmp_path)
    index.refresh()
    cases, total, behind = index.cases(limit=2)
    assert [(one.case, one.recordings) for one in cases] == [("K2-Heron", 2), ("K1-Heron", 3)]
    assert (total, cases[1].first_at) == (3, "2031-01-01T09:51:00+00:00")
    rest, _, end = index.cases(after=behind, limit=2)
    assert [one.case for one in rest] == ["K0-Heron"]
    assert end == ""
    assert [one.case for one in index.cases("K1")[0]] == ["K1-Heron"]


def test_removed_imported_replaced_and_changed_recordings_are_noticed(tmp_path: Path) -> None:
    names = many_recordings(tmp_path, 3)
    index = RecordingIndex(tmp_path)
    index.refresh()
    shutil.rmtree(tmp_path / f"{names[0]}.zarr")
    shutil.rmtree(tmp_path / f"{names[1]}.zarr")
    one_recording(tmp_path / f"{names[1]}.zarr", "M9", FIRST, frames=3)  # another one under the same name
    (tmp_path / f"{names[2]}.zarr" / "maps").mkdir()
    (tmp_path / f"{names[2]}.zarr" / "maps" / "zarr.json").write_bytes(b"x" * 5000)
    index.refresh()
    found = {line.name: line for line in index.page(EVERYTHING).lines}
    assert set(found) == set(names[1:])
    assert (found[names[1]].case, found[names[1]].frames) == ("M9", 3)
    assert found[names[2]].size_mb == summaries(tmp_path)[0][0].size_mb


def test_a_recording_that_is_written_is_read_again_until_it_is_whole(tmp_path: Path) -> None:
    """As after an imager that was killed: what is there counts, and a completed one is complete at the next look."""
    many_recordings(tmp_path, 1)
    writer = RecordingWriter(
        tmp_path / "growing.zarr", CAMERA, Calibration.assumed(CAMERA), started_at="2031-02-01T00:00:00Z"
    )
    index = RecordingIndex(tmp_path)
    index.refresh(running="growing")
    assert "growing" not in {line.name for line in index.page(EVERYTHING).lines}
    index.refresh()
    first = index.page(EVERYTHING).lines[0]
    assert (first.name, first.complete) == ("growing", False)
    writer.close()
    assert index.page(EVERYTHING).lines[0].complete


def test_a_recording_that_cannot_be_opened_is_said_and_others_are_listed(tmp_path: Path) -> None:
    names = many_recordings(tmp_path, 2)
    root = tmp_path / f"{names[0]}.zarr" / "zarr.json"
    whole = root.read_bytes()
    root.unlink()
    root.write_bytes(b"{")
    index = RecordingIndex(tmp_path)
    index.refresh()
    assert [line.name for line in index.page(EVERYTHING).lines] == [names[1]]
    assert [names[0] in line for line in index.problems()] == [True]
    assert index.of_case("K0-Heron") == (tmp_path / f"{names[0]}.zarr", tmp_path / f"{names[1]}.zarr")
    root.write_bytes(whole)
    shutil.rmtree(tmp_path / FILE, ignore_errors=True)


DAMAGES = (b"", b"no database, but long enough to be taken for one" * 20, b"SQLite format 3\0" + b"\xff" * 4080)


@pytest.mark.parametrize("damage", DAMAGES, ids=["empty", "text", "header"])
def test_a_damaged_index_is_made_anew(tmp_path: Path, damage: bytes) -> None:
    names = many_recordings(tmp_path, 3)
    assert listed(tmp_path) == names[::-1]
    for ending in ("-wal", "-shm"):
        (tmp_path / f"{FILE}{ending}").unlink(missing_ok=True)
    (tmp_path / FILE).write_bytes(damage)
    assert listed(tmp_path) == names[::-1]


def test_many_new_ones_are_read_by_a_process_of_their_own_and_one_killed_there_harms_nothing(tmp_path: Path) -> None:
    names = many_recordings(tmp_path, FEW + 60)
    index = RecordingIndex(tmp_path)
    assert index.refresh() == FEW + 60
    assert index.page(EVERYTHING).total == 0
    reader = [sys.executable, "-m", "device.recording_index", str(tmp_path)]
    with subprocess.Popen(reader) as process:
        os.kill(process.pid, 9)
    subprocess.run(reader, check=True)
    assert index.refresh() == 0
    assert [line.name for line in index.page(EVERYTHING).lines] == names[::-1]


def test_a_changed_case_shows_at_once(tmp_path: Path) -> None:
    names = many_recordings(tmp_path, 2)
    index = RecordingIndex(tmp_path)
    index.refresh()
    new = change_case(tmp_path, names[0], "M4", FIRST)
    index.refresh()
    assert [(line.name, line.case) for line in index.page(EVERYTHING).lines] == [(names[1], "K0-Heron"), (new, "M4")]
