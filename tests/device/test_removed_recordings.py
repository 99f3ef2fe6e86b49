"""What was removed can be put back while there is room, and nothing else is touched."""

from datetime import timedelta
from pathlib import Path

import pytest

from device.removed_recordings import RemovedRecordings
from shared.errors import Refused
from shared.recording import Recording
from tests.many_recordings import FIRST, many_recordings, one_recording


def kept(folder: Path) -> set[str]:
    return {path.stem for path in folder.glob("*.zarr")}


def roomy(_: Path) -> int:
    return 10**12


def test_removed_and_put_back(tmp_path: Path) -> None:
    names = many_recordings(tmp_path, 2)
    removed = RemovedRecordings(tmp_path, 1e9, roomy)
    one = removed.remove(names[0], FIRST)
    assert kept(tmp_path) == {names[1]}
    assert removed.all() == (one,)
    assert (one.recording, one.removed_at) == (names[0], "2031-01-01T08:00:00+00:00")
    assert removed.restore(one.removed) == names[0]
    assert kept(tmp_path) == set(names)
    assert removed.all() == ()
    with Recording.open(tmp_path / f"{names[0]}.zarr") as recording:
        assert recording.frames == 8


def test_a_name_taken_meanwhile_gets_a_number(tmp_path: Path) -> None:
    one_recording(tmp_path / "flap.zarr")
    removed = RemovedRecordings(tmp_path, 1e9, roomy)
    first = removed.remove("flap", FIRST)
    one_recording(tmp_path / "flap.zarr")
    second = removed.remove("flap", FIRST + timedelta(microseconds=1))
    assert removed.restore(first.removed) == "flap"
    assert removed.restore(second.removed) == "flap-2"


def test_the_longest_removed_goes_first_and_only_while_room_is_short(tmp_path: Path) -> None:
    names = many_recordings(tmp_path, 3)
    free = iter([500, 500, 2000, 500, 2000])
    removed = RemovedRecordings(tmp_path, 1000, lambda _: next(free))
    for minute, name in enumerate(names):
        removed.remove(name, FIRST + timedelta(minutes=minute))
    assert removed.make_room() == (names[0], names[1])
    assert [one.recording for one in removed.all()] == [names[2]]
    assert removed.is_short()
    assert not removed.is_short()
    removed.forget()
    assert removed.all() == ()
    removed.sweep()
    assert not list((tmp_path / ".removed").iterdir())


@pytest.mark.parametrize("name", ["../x", ".source", "away", "", "a/b", "K7 Heron", "x" * 200])
def test_nothing_outside_the_folder_is_removed_or_put_back(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "recordings"
    many_recordings(folder, 1)
    one_recording(tmp_path / "x.zarr")
    removed = RemovedRecordings(folder, 1e9, roomy)
    with pytest.raises(Refused):
        removed.remove(name, FIRST)
    with pytest.raises(Refused):
        removed.restore(name)
    with pytest.raises(Refused):
        removed.restore(f"2031-01-01T08-00-00.000000Z~{name}")
    assert (tmp_path / "x.zarr").is_dir()


def test_a_link_is_no_recording(tmp_path: Path) -> None:
    folder = tmp_path / "recordings"
    folder.mkdir()
    (folder / "link.zarr").symlink_to(one_recording(tmp_path / "x.zarr"))
    with pytest.raises(Refused, match="no such recording"):
        RemovedRecordings(folder, 1e9, roomy).remove("link", FIRST)
