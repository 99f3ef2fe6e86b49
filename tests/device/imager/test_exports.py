"""Export jobs with a small program in place of the real one, which the bench tests run."""

import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from device.imager.exports import KEPT_JOBS, Exports
from shared.errors import Refused
from shared.protocol.control import ExportJob

GOOD = """
import json, sys
recording, target = sys.argv[2:4]
for done in (0.25, 0.5):
    print(json.dumps({"done": done}), file=sys.stderr, flush=True)
print(json.dumps({"folder": target + "/quay", "files": [{"name": "a.csv"}, {"name": sys.argv[5]}]}))
"""
FAILING = """
import sys
print('{"done": 0.1}', file=sys.stderr)
print("tapetum: no room on the drive: 3 MB; use a larger one", file=sys.stderr)
sys.exit(2)
"""
SILENT = "import sys; sys.exit(7)"
WAITING = """
import signal, sys, time
print('{"done": 0.1}', file=sys.stderr, flush=True)
signal.sigwait({signal.SIGTERM})
sys.exit(2)
"""
WAITING = WAITING.replace(
    "signal.sigwait", "signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM}); signal.sigwait"
)

Made = Callable[[str], Exports]


@pytest.fixture
def made(tmp_path: Path) -> Iterator[Made]:
    """Makes Exports that run a program of this text; there is one recording, "flap"."""
    (tmp_path / "recordings" / "flap.zarr").mkdir(parents=True)
    (tmp_path / "stick").mkdir()
    opened: list[Exports] = []

    def make(program: str) -> Exports:
        file = tmp_path / "program.py"
        file.write_text(program)
        opened.append(Exports(tmp_path / "recordings", (sys.executable, str(file))))
        return opened[-1]

    yield make
    for one in opened:
        one.close()


def when(exports: Exports, holds: Callable[[ExportJob], bool]) -> ExportJob:
    """The newest job as soon as that holds of it."""
    deadline, pause = time.monotonic() + 20, threading.Event()
    while not holds(exports.jobs[-1]):
        assert time.monotonic() < deadline, exports.jobs[-1]
        pause.wait(0.005)
    return exports.jobs[-1]


def test_a_job_ends_with_its_files(made: Made, tmp_path: Path) -> None:
    exports = made(GOOD)
    started = exports.start(["flap"], ["csv", "mp4"], tmp_path / "stick")
    assert (started.number, started.done, started.finished) == (1, 0.0, False)
    job = when(exports, lambda job: job.finished)
    assert (job.done, job.error, job.recording) == (1.0, "", "flap")
    assert job.files == (f"{tmp_path}/stick/quay/a.csv", f"{tmp_path}/stick/quay/csv,mp4")


def test_the_language_asked_for_is_that_of_the_export(made: Made, tmp_path: Path) -> None:
    program = (
        "import json, sys\n"
        + "print(json.dumps({'folder': 'quay', 'files': [{'name': one} for one in sys.argv[-2:]]}))"
    )
    exports = made(program)
    exports.start(["flap"], ["csv"], tmp_path / "stick", "es")
    assert when(exports, lambda job: job.finished).files == ("quay/--language", "quay/es")


@pytest.mark.parametrize(("told", "settled"), [('{"settled": true}', True), ('{"settled": false}', False), ("", False)])
def test_a_drive_is_settled_only_where_the_export_said_so(made: Made, tmp_path: Path, told: str, settled: bool) -> None:
    exports = made(f"import sys\nprint({told!r}, file=sys.stderr)\n" + GOOD)
    exports.start(["flap"], ["csv"], tmp_path / "stick")
    assert when(exports, lambda job: job.finished).settled is settled


def test_a_job_says_how_far_it_is_and_only_one_runs(made: Made, tmp_path: Path) -> None:
    exports = made(WAITING)
    exports.start(["flap"], ["csv"], tmp_path / "stick")
    assert when(exports, lambda job: job.done == 0.1).finished is False
    with pytest.raises(Refused, match="an export is running: flap"):
        exports.start(["flap"], ["csv"], tmp_path / "stick")
    assert len(exports.jobs) == 1
    exports.close()
    assert exports.jobs[-1].finished


@pytest.mark.parametrize(
    ("program", "error"),
    [
        (FAILING, "no room on the drive: 3 MB; use a larger one"),
        (SILENT, "the export ended with status 7"),
        ("import os; os.kill(os.getpid(), 9)", "the export ended with status -9"),
    ],
)
def test_a_failed_job_says_why_and_the_next_one_may_start(made: Made, tmp_path: Path, program: str, error: str) -> None:
    exports = made(program)
    exports.start(["flap"], ["csv"], tmp_path / "stick")
    job = when(exports, lambda job: job.finished)
    assert (job.error, job.files) == (error, ())
    assert exports.start(["flap"], ["csv"], tmp_path / "stick").number == 2
    when(exports, lambda job: job.finished)


SEVERAL = """
import json, sys
print(json.dumps({"recording": "pier"}), file=sys.stderr, flush=True)
assert sys.argv[-2] == "--after-it" and sys.argv[-1].endswith("/pier.zarr"), sys.argv
written = {"recording": "flap", "folder": "/stick/flap", "files": [{"name": "a.csv", "bytes": 1500000}], "notes": ["short"]}
print(json.dumps({"exports": [written], "failed": [{"recording": "pier", "line": "no room"}]}))
print("tapetum: recordings that could not be written: 1 of 2; see which, and why", file=sys.stderr)
sys.exit(2)
"""


def test_several_at_once_and_what_was_written_counts_though_one_failed(made: Made, tmp_path: Path) -> None:
    (tmp_path / "recordings" / "pier.zarr").mkdir()
    exports = made(SEVERAL)
    exports.start(["flap", "pier", "flap"], ["csv"], tmp_path / "stick")
    assert exports.user_of("pier") == "an export"
    job = when(exports, lambda job: job.finished)
    assert (job.recordings, job.recording) == (("flap", "pier"), "pier")
    assert (job.folders, job.files, job.file_count, job.size_mb) == (("/stick/flap",), ("/stick/flap/a.csv",), 1, 1.5)
    assert (job.failed, job.notes) == (("pier: no room",), ("short",))
    assert "could not be written" in job.error
    assert exports.user_of("pier") == ""


def test_an_export_is_stopped(made: Made, tmp_path: Path) -> None:
    exports = made(WAITING)
    with pytest.raises(Refused, match="no export is running"):
        exports.stop()
    exports.start(["flap"], ["csv"], tmp_path / "stick")
    when(exports, lambda job: job.done == 0.1)
    exports.stop()
    assert when(exports, lambda job: job.finished).stopped


def test_the_last_few_are_remembered(made: Made, tmp_path: Path) -> None:
    exports = made(SILENT)
    for number in range(1, KEPT_JOBS + 3):
        assert exports.start(["flap"], ["csv"], tmp_path / "stick").number == number
        when(exports, lambda job: job.finished)
    assert [job.number for job in exports.jobs] == list(range(3, KEPT_JOBS + 3))


@pytest.mark.parametrize("name", ["pier", "../flap", ".flap", "", "recordings/flap"])
def test_no_such_recording(made: Made, tmp_path: Path, name: str) -> None:
    exports = made(GOOD)
    with pytest.raises(Refused, match=r"no such recording|not a name of a recording") as refused:
        exports.start([name], ["csv"], tmp_path / "stick")
    assert name in refused.value.line
    assert exports.jobs == ()


def test_no_such_folder(made: Made, tmp_path: Path) -> None:
    with pytest.raises(Refused, match=r"no such folder to export to: .*/away"):
        made(GOOD).start(["flap"], ["csv"], tmp_path / "away")


def test_closing_twice_or_idle_does_nothing(made: Made) -> None:
    exports = made(GOOD)
    exports.close()
    exports.close()
