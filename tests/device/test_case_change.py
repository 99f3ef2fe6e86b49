"""Another case code for a recording: inside, in its name, and in what is told of it afterwards."""

from pathlib import Path

import pytest

from device.case_change import change_case, renamed
from shared.errors import Refused
from shared.recording import Recording
from tests.many_recordings import FIRST, many_recordings, one_recording


def test_the_code_changes_inside_and_in_the_name_and_the_old_one_is_kept(tmp_path: Path) -> None:
    (name,) = many_recordings(tmp_path, 1)
    with Recording.open(tmp_path / f"{name}.zarr") as before:
        pixels, events = before.pixels(3), before.events
    new = change_case(tmp_path, name, "M4-Gull", FIRST)
    assert new == "2031-01-01T08-00-00Z_M4-Gull"
    assert not (tmp_path / f"{name}.zarr").exists()
    with Recording.open(tmp_path / f"{new}.zarr") as after:
        assert (after.case, after.complete, after.frames) == ("M4-Gull", True, 8)
        assert (after.pixels(3) == pixels).all()
        assert after.events == events
        assert after.extra["case_before"] == [{"case": "K0-Heron", "until": "2031-01-01T08:00:00+00:00"}]
    back = change_case(tmp_path, new, "K0-Heron", FIRST)
    assert back == name
    assert change_case(tmp_path, back, "K0-Heron", FIRST) == back


def test_another_one_of_that_name_is_not_overwritten(tmp_path: Path) -> None:
    (name,) = many_recordings(tmp_path, 1)
    one_recording(tmp_path / "2031-01-01T08-00-00Z_M4.zarr", "M4")
    assert change_case(tmp_path, name, "M4", FIRST) == "2031-01-01T08-00-00Z_M4-2"


@pytest.mark.parametrize("case", ["Anna Muster", "../x", "-x", "x" * 41, "CON"])
def test_what_is_no_code_changes_nothing(tmp_path: Path, case: str) -> None:
    (name,) = many_recordings(tmp_path, 1)
    with pytest.raises(Refused, match="not a case code"):
        change_case(tmp_path, name, case, FIRST)
    with Recording.open(tmp_path / f"{name}.zarr") as recording:
        assert recording.case == "K0-Heron"


@pytest.mark.parametrize(
    ("name", "before", "case", "after"),
    [
        ("2031-01-01T08-00-00Z_K7", "K7", "", "2031-01-01T08-00-00Z"),
        ("2031-01-01T08-00-00Z_K7-3", "K7", "M4", "2031-01-01T08-00-00Z_M4"),
        ("2031-01-01T08-00-00Z", "", "M4", "2031-01-01T08-00-00Z_M4"),
        ("flap", "", "M4", "flap_M4"),
        ("flap", "K7", "M4", "flap"),
    ],
)
def test_names(name: str, before: str, case: str, after: str) -> None:
    assert renamed(name, before, case) == after
