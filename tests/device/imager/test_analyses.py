"""Analyses with a small program in place of the real one, which the tests of the interface run."""

import json
import sys
from pathlib import Path

import pytest

from device.imager.analyses import Analyses
from device.imager.review_desk import ReviewDesk
from shared.errors import Refused
from shared.protocol.review import AddLateNote, StartAnalysis, UndoLateNote
from tests.bench.running_demo import wait_for
from tests.web_ui.reviewed import NAME, put_recording

GOOD = """
import json, pathlib, sys
assert sys.argv[1] == "analyse", sys.argv
pathlib.Path(sys.argv[2], "asked.json").write_text(json.dumps(sys.argv[3:]))
print(json.dumps({"done": 0.5}), file=sys.stderr, flush=True)
"""
FAILING = "import sys; sys.exit('tapetum: no reference is marked in this recording: quay; touch healthy skin')"
WAITING = "import sys, time; print('{\"done\": 0.25}', file=sys.stderr, flush=True); time.sleep(60)"


@pytest.fixture
def started(tmp_path: Path):
    """Starts an analysis of a folder by a program of this text."""
    made: list[Analyses] = []
    recording = tmp_path / "quay.zarr"
    recording.mkdir()

    def start(program: str, **options: bool) -> Analyses:
        file = tmp_path / "program.py"
        file.write_text(program)
        made.append(Analyses((sys.executable, str(file))))
        made[-1].start(recording, **{"maps": False, "follow_motion": True, **options})
        return made[-1]

    yield start
    for one in made:
        one.close()


def finished(analyses: Analyses):
    return wait_for(lambda: (job := analyses.newest) and job.finished and job, "the analysis ended")


def test_it_is_asked_with_the_marks_of_the_review_and_ends_done(started, tmp_path: Path) -> None:
    job = finished(started(GOOD, maps=True, follow_motion=False))
    assert (job.recording, job.maps, job.done, job.error, job.stopped) == ("quay", True, 1.0, "", False)
    asked = json.loads((tmp_path / "quay.zarr" / "asked.json").read_text())
    assert asked == ["--review", "--json", "--maps", "--no-motion"]


def test_what_it_refuses_is_said(started) -> None:
    assert finished(started(FAILING)).error == "no reference is marked in this recording: quay; touch healthy skin"


def test_it_is_in_use_until_it_is_stopped(started) -> None:
    analyses = started(WAITING)
    wait_for(lambda: analyses.newest and analyses.newest.done == 0.25, "progress")
    assert (analyses.user_of("quay"), analyses.user_of("pier")) == ("an analysis", "")
    analyses.stop()
    job = finished(analyses)
    assert (job.stopped, job.error, analyses.user_of("quay")) == (True, "", "")


def test_a_recording_that_runs_is_left_alone(tmp_path: Path) -> None:
    path = put_recording(tmp_path)
    desk = ReviewDesk(tmp_path / "recordings", lambda: NAME)
    for asked in (StartAnalysis(NAME), AddLateNote(NAME, 1.0, "x"), UndoLateNote(NAME)):
        with pytest.raises(Refused, match="still running"):
            desk.acts[type(asked)](asked)
    assert not (path / "afterwards").exists()
    desk.close()
