"""Lists, cases, removal and dye over the control protocol's requests, on real small recordings; the recorder is a fake."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from device.imager.record_requests import RecordRequests
from shared.errors import Refused
from shared.protocol import control as c
from shared.protocol import records as r
from shared.settings import RecordingSettings
from tests.many_recordings import FIRST, many_recordings, one_recording


@dataclass
class FakeRecorder:
    """Says which recording runs."""

    name: str | None = None

    def state(self) -> c.RecordingState:
        return c.RecordingState(self.name, 1.5, 45, 2, 0.0, 50_000.0)


@dataclass
class Bench:
    folder: Path
    recorder: FakeRecorder = field(default_factory=FakeRecorder)
    used: set[str] = field(default_factory=set)
    free_bytes: int = 10**12
    now: datetime = FIRST + timedelta(days=1)

    def __post_init__(self) -> None:
        self.requests = RecordRequests(
            self.recorder,  # type: ignore[arg-type]
            RecordingSettings(self.folder, least_free_mb=500),
            lambda name: "an export" if name in self.used else "",
            free=lambda _: self.free_bytes,
            wall=lambda: self.now,
        )

    def ask(self, request: object) -> object:
        return self.requests.acts()[type(request)](request)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path / "recordings")
    yield made
    made.requests.close()


def test_a_folder_that_is_not_there_yet_is_an_empty_list(bench: Bench) -> None:
    assert bench.ask(c.ListRecordings()) == c.Recordings()
    assert bench.ask(r.ListCases()) == r.Cases()


def test_the_recording_that_runs_stands_first_with_what_the_recorder_says(bench: Bench) -> None:
    names = many_recordings(bench.folder, 3)
    one_recording(bench.folder / "2032-01-01T00-00-00Z_K9.zarr", "K9", FIRST.replace(year=2032))
    bench.recorder.name = "2032-01-01T00-00-00Z_K9"
    found = bench.ask(c.ListRecordings(limit=2))
    assert isinstance(found, c.Recordings)
    assert [line.name for line in found.recordings] == [bench.recorder.name, names[2], names[1]]
    assert (found.total, found.recordings[0].frames, found.recordings[0].complete) == (4, 45, False)
    after = bench.ask(c.ListRecordings(limit=2, after=found.next))
    assert isinstance(after, c.Recordings)
    assert [line.name for line in after.recordings] == [names[0]]
    for asked, there in (
        (c.ListRecordings(case="K9"), 1),
        (c.ListRecordings(case="K0-Heron"), 3),
        (c.ListRecordings(text="k9"), 1),
    ):
        answer = bench.ask(asked)
        assert isinstance(answer, c.Recordings)
        assert answer.total == there


def test_nothing_is_removed_or_renamed_while_it_is_recorded_or_used(bench: Bench) -> None:
    names = many_recordings(bench.folder, 2)
    bench.recorder.name, bench.used = names[0], {names[1]}
    for name, why in ((names[0], "it is being recorded"), (names[1], "an export uses this recording")):
        for request in (r.RemoveRecording(name), r.ChangeCase(name, "M4")):
            with pytest.raises(Refused, match=why):
                bench.ask(request)
    assert {path.stem for path in bench.folder.glob("*.zarr")} == set(names)


def test_removal_is_undone_and_forgotten(bench: Bench) -> None:
    names = many_recordings(bench.folder, 2)
    removed = bench.ask(r.RemoveRecording(names[0]))
    assert isinstance(removed, r.RemovedRecording)
    assert bench.ask(r.ListRemoved()) == r.RemovedRecordings((removed,), 2000.0, 1e6)
    assert bench.ask(r.RestoreRecording(removed.removed)) == r.Kept(names[0])
    bench.ask(r.RemoveRecording(names[1]))
    assert bench.ask(r.ForgetRemoved()) == r.RemovedRecordings((), 2000.0, 1e6)
    with pytest.raises(Refused, match="not there any more"):
        bench.ask(r.RestoreRecording(removed.removed))


def test_what_was_removed_goes_for_good_when_room_is_short(bench: Bench) -> None:
    names = many_recordings(bench.folder, 1)
    bench.ask(r.RemoveRecording(names[0]))
    bench.free_bytes = 1_999_000_000
    bench.requests.make_room()
    bench.requests.close()
    assert bench.ask(r.ListRemoved()) == r.RemovedRecordings((), 2000.0, 1999.0)
    assert not list((bench.folder / ".removed").iterdir())


def test_what_was_let_go_is_swept_away_beside_the_requests(bench: Bench) -> None:
    names = many_recordings(bench.folder, 1)
    bench.ask(r.RemoveRecording(names[0]))
    bench.ask(r.ForgetRemoved())
    bench.requests.close()
    assert not list((bench.folder / ".removed").iterdir())


def test_dye_of_a_case_from_its_recordings_and_from_what_was_entered(bench: Bench) -> None:
    """Label's limit 2 mg/kg; 25 mg in 10 mL (generic US label, reconstitution and dosage)."""
    many_recordings(bench.folder, 4)  # three of K0-Heron with 5 mg each, one of another case
    empty = bench.ask(r.GetDye("K5"))
    assert isinstance(empty, r.DyeOfCase)
    assert (empty.given_mg, empty.limit_mg, empty.injections) == (0.0, None, ())
    assert empty.cautions
    bench.ask(r.EnterBodyMass("K0-Heron", 70.0))
    found = bench.ask(r.EnterDose("K0-Heron", 7.5, minutes_ago=3.0))
    assert isinstance(found, r.DyeOfCase)
    assert (found.given_mg, found.limit_mg, found.volume_ml) == (22.5, 140.0, 9.0)
    assert [one.line for one in found.injections] == [None, None, None, 2]
    newest = found.injections[-1]
    # three minutes are 1.2, 1.0 and 0.75 of the half-lives 2.5, 3 and 4 minutes
    assert (newest.since_min, newest.left_least_percent, newest.left_most_percent) == (3.0, 43.528, 59.460)
    back = bench.ask(r.UndoDye("K0-Heron", 2))
    assert isinstance(back, r.DyeOfCase)
    assert (back.given_mg, back.body_mass_kg, back.body_mass_line) == (15.0, 70.0, 1)
    with pytest.raises(Refused, match="taken back already"):
        bench.ask(r.UndoDye("K0-Heron", 2))
    without = bench.ask(r.UndoMark("K0-Heron", back.injections[1].at))
    assert isinstance(without, r.DyeOfCase)
    assert (without.given_mg, len(without.injections)) == (10.0, 2)
    with pytest.raises(Refused, match="not a case code"):
        bench.ask(r.EnterDose("../K0", 5.0))


def test_many_at_once_are_read_beside_the_requests_and_said(bench: Bench) -> None:
    many_recordings(bench.folder, 60)
    found = bench.ask(c.ListRecordings())
    assert isinstance(found, c.Recordings)
    assert (found.total, found.unread) == (0, 60)
    dye = bench.ask(r.GetDye("K0-Heron"))
    assert isinstance(dye, r.DyeOfCase)
    assert "60 recordings are still being looked through" in dye.warnings[0]
    bench.requests._reading._thread.join(30.0)  # type: ignore[union-attr]
    found = bench.ask(c.ListRecordings())
    assert isinstance(found, c.Recordings)
    assert (found.total, found.unread) == (60, 0)
