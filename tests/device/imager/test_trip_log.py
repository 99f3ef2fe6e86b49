"""Trips are remembered over restarts, and a file that cannot be read or written harms nobody."""

from device.imager.trip_log import FILE, KEPT, TripLog
from shared.protocol.device_facts import Trip

AT = "2026-11-25T10:00:00Z"


def log(folder):
    return TripLog(folder, now=lambda: AT)


def test_they_outlive_the_imager_the_newest_first(tmp_path):
    made = log(tmp_path / "data")
    made.note("the ring's cover is open: close it", tried=False)
    made.note("the camera's frames stopped coming", tried=True)
    made.close()
    again = log(tmp_path / "data")
    again.close()
    assert again.newest_first == (
        Trip(AT, "the camera's frames stopped coming", tried=True),
        Trip(AT, "the ring's cover is open: close it"),
    )


def test_only_the_last_ones_are_kept(tmp_path):
    made = log(tmp_path)
    for number in range(KEPT + 3):
        made.note(f"reason {number}", tried=False)
    made.close()
    again = log(tmp_path)
    again.close()
    assert len(again.newest_first) == KEPT
    assert again.newest_first[0].reason == f"reason {KEPT + 2}"


def test_a_damaged_file_is_said_in_the_log_and_begun_anew(tmp_path, caplog):
    for content in ("{", '[{"at": 1}]', "7"):
        (tmp_path / FILE).write_text(content)
        made = log(tmp_path)
        assert made.newest_first == ()
        made.note("too warm", tried=False)
        made.close()
        assert "cannot be read" in caplog.text
        caplog.clear()
        assert "too warm" in (tmp_path / FILE).read_text()


def test_where_nothing_can_be_written_it_goes_on(tmp_path, caplog):
    (tmp_path / "data").write_text("a file, no folder")
    made = log(tmp_path / "data")
    made.note("too warm", tried=False)
    made.close()
    assert "could not be kept" in caplog.text
    assert made.newest_first[0].reason == "too warm"
