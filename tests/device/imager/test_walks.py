"""A walk as a child of the imager: what it says reaches the state, and it ends where nobody watches it."""

import json
import sys

import pytest

from device.imager.walks import UNWATCHED_NS, Walks
from shared.errors import Refused
from shared.protocol.commissioning import CheckItem, StartWalk
from tests.bench.running_demo import wait_for
from tests.conftest import ManualClock

SAID = {"passed": True, "seconds": 5.0, "items": [{"name": "clock", "passed": True, "words": "2026"}]}
FOR_EVER = 'import sys, time; print(\'{"say": "begun"}\', file=sys.stderr, flush=True); time.sleep(60)'


class Bench:
    """Walks whose child is a script."""

    def __init__(self, folder, script):
        self.clock, self.darkened = ManualClock(), 0
        command = (sys.executable, "-c", script)
        self.walks = Walks(folder, self.clock, self._darken, command, now=lambda: "2026-11-25T10:00:00Z")

    def _darken(self):
        self.darkened += 1

    def ended(self):
        return wait_for(lambda: (it := self.walks.newest) and not it.running and it, "the walk ended")


@pytest.fixture
def made(tmp_path):
    benches = []

    def make(script):
        benches.append(Bench(tmp_path, script))
        return benches[-1]

    yield make
    for one in benches:
        one.walks.close()


@pytest.mark.parametrize("code", [0, 1])
def test_what_a_check_found_is_kept(made, code):
    bench = made(f"import sys; assert 'check' in sys.argv; print({json.dumps(SAID)!r}); sys.exit({code})")
    assert bench.walks.newest is None
    bench.walks.start(StartWalk("check"))
    found = bench.ended()
    assert (found.walk, found.passed, found.started_at, found.error) == ("check", True, "2026-11-25T10:00:00Z", "")
    assert found.items == (CheckItem("clock", True, "2026"),)


def test_a_child_cannot_pass_what_an_item_failed(made):
    said = {**SAID, "items": [{"name": "clock", "passed": False, "words": "1970"}]}
    bench = made(f"print({json.dumps(said)!r})")
    bench.walks.start(StartWalk("check"))
    assert not bench.ended().passed


def test_what_it_tells_on_its_way_is_seen_line_by_line(made):
    item = {"item": {"name": "clock", "passed": True, "words": "2026"}}
    told = [{"say": "unlit frames"}, item, {"else": 1}, {"say": "light"}]
    lines = "\\n".join(json.dumps(one) for one in told)
    bench = made(f"import sys, time; print('''{lines}''', file=sys.stderr, flush=True); time.sleep(60)")
    bench.walks.start(StartWalk("check"))
    found = wait_for(lambda: (it := bench.walks.newest) and len(it.said) == 2 and it, "both lines")
    assert found.said == ("unlit frames", "light")
    assert found.items == (CheckItem("clock", True, "2026"),)
    assert found.running


@pytest.mark.parametrize(
    ("script", "words"),
    [
        (
            "import sys; sys.exit('tapetum: a recording runs; see tapetum status')",
            "a recording runs; see tapetum status",
        ),
        ("pass", "ended with status 0"),
        ("print('[]')", "ended with status 0"),
        ("print('no'); import sys; sys.exit('broken')", "broken"),
    ],
)
def test_a_child_that_fails_is_said(made, script, words):
    bench = made(script)
    bench.walks.start(StartWalk("check"))
    found = bench.ended()
    assert not found.passed
    assert words in found.error


def test_one_at_a_time_and_none_outlives_the_imager(made):
    bench = made(FOR_EVER)
    bench.walks.start(StartWalk("dark"))
    assert bench.walks.newest.running
    with pytest.raises(Refused, match="a walk is running: dark"):
        bench.walks.start(StartWalk("check"))
    bench.walks.close()
    assert not bench.walks.newest.running


def test_stopped_it_lets_go_of_the_light_and_says_so(made):
    bench = made(FOR_EVER)
    bench.walks.stop()
    assert bench.darkened == 0, "nothing ran"
    bench.walks.start(StartWalk("gain"))
    bench.walks.stop()
    assert bench.darkened == 1, "at once, before the child is gone"
    assert bench.ended().error == "it was stopped"


def test_nobody_watching_ends_it_with_the_light_let_go_of(made):
    bench = made(FOR_EVER)
    bench.walks.start(StartWalk("gain"))
    for _ in range(3):
        bench.clock.time_ns += UNWATCHED_NS
        bench.walks.watched()
        assert bench.walks.newest.running
    assert bench.darkened == 0
    bench.clock.time_ns += UNWATCHED_NS + 1
    assert bench.walks.newest.running, "the child itself asks for the state all the while, so it is noticed"
    assert bench.darkened == 1
    assert "nobody watched it" in bench.ended().error


def test_words_of_the_command_line(made, tmp_path):
    bench = made(
        "import json, sys; print(json.dumps({'items': []})); print(json.dumps({'say': ' '.join(sys.argv[1:])}), file=sys.stderr)"
    )
    said = []
    for asked in (
        StartWalk("dark"),
        StartWalk("scale", 300.0, 9.9),
        StartWalk("sensitivity", concentrations=(0.0, 0.5), unit="mg/L"),
    ):
        bench.walks.start(asked)
        said += bench.ended().said
    to = f"--yes --json --run-dir {tmp_path}"
    assert said == [
        f"calibrate dark --propose {to}",
        f"calibrate scale --propose --distance-mm 300 --pitch-mm 9.9 {to}",
        f"calibrate sensitivity --propose --concentrations=0.0,0.5 --unit=mg/L {to}",
    ]
