"""What is added to a recording afterwards comes back as it was said, whatever was said, and whatever a cut of power left."""

from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import Refused
from shared.protocol.review import ReviewRegion
from shared.recording.afterwards import (
    LateNote,
    Marks,
    add_late_note,
    read_analysis,
    read_late_notes,
    read_marks,
    undo_late_note,
    write_analysis,
    write_marks,
)

NOTES = st.builds(
    LateNote,
    at_s=st.floats(0, 1e5),
    text=st.text(min_size=1, max_size=60).filter(lambda text: not any("\ud800" <= c <= "\udfff" for c in text)),
    said_at=st.just("2026-11-25T10:00:00Z"),
)


@given(st.lists(NOTES, max_size=6), st.integers(0, 6), st.binary(max_size=8))
def test_notes_come_back_in_order_and_the_last_is_taken_back(notes, taken_back, torn):
    with TemporaryDirectory() as folder:
        path = Path(folder)
        for note in notes:
            add_late_note(path, note)
        for _ in range(min(taken_back, len(notes))):
            undo_late_note(path)
        expected = notes[: max(len(notes) - taken_back, 0)]
        assert list(read_late_notes(path)) == expected
        if not expected:
            with pytest.raises(Refused, match="no note was added afterwards"):
                undo_late_note(path)
        elif b"\n" not in torn:
            with (path / "afterwards" / "notes.jsonl").open("ab") as file:
                file.write(torn)  # a line that a cut of power left without its end
            add_late_note(path, LateNote(1.0, "after it", ""))
            assert list(read_late_notes(path))[: len(expected)] == expected
            assert read_late_notes(path)[-1].text == "after it"


def test_marks_and_analysis_take_the_place_of_those_before(tmp_path):
    assert (read_marks(tmp_path), read_analysis(tmp_path)) == (None, None)
    marks = Marks(ReviewRegion("base:1,1,5,5", 2.5), (ReviewRegion("tip:9,9,5,5"),))
    write_marks(tmp_path, marks)
    assert read_marks(tmp_path) == marks
    write_marks(tmp_path, None)
    write_marks(tmp_path, None)
    assert read_marks(tmp_path) is None
    write_analysis(tmp_path, {"warnings": ["fog"]})
    write_analysis(tmp_path, {"warnings": []})
    assert read_analysis(tmp_path) == {"warnings": []}
    assert sorted(path.name for path in (tmp_path / "afterwards").iterdir()) == ["analysis.json"]


@pytest.mark.parametrize("text", ["", "[1]", "{", "nonsense"])
def test_damaged_marks_are_said(tmp_path, text):
    (tmp_path / "afterwards").mkdir()
    (tmp_path / "afterwards" / "marks.json").write_text(text)
    with pytest.raises(Refused, match=r"marks\.json: damaged"):
        read_marks(tmp_path)
