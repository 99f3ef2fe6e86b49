"""The check as a child of the imager: what it says reaches the state, whatever becomes of the child."""

import json
import sys

import pytest

from device.imager.checks import Checks
from shared.errors import Refused
from shared.protocol.control import CheckItem
from tests.bench.running_demo import wait_for

SAID = {"passed": True, "seconds": 5.0, "items": [{"name": "clock", "passed": True, "words": "2026"}]}


def checks(tmp_path, script):
    return Checks(tmp_path, (sys.executable, "-c", script), now=lambda: "2026-11-25T10:00:00Z")


def ended(made):
    return wait_for(lambda: None if made.newest is None or made.newest.running else made.newest, "the check ended")


@pytest.mark.parametrize("code", [0, 1])
def test_what_it_found_is_kept(tmp_path, code):
    made = checks(tmp_path, f"import sys; assert 'check' in sys.argv; print({json.dumps(SAID)!r}); sys.exit({code})")
    assert made.newest is None
    made.start()
    found = ended(made)
    made.close()
    assert (found.passed, found.started_at, found.error) == (True, "2026-11-25T10:00:00Z", "")
    assert found.items == (CheckItem("clock", True, "2026"),)


def test_a_child_cannot_pass_what_an_item_failed(tmp_path):
    said = {**SAID, "items": [{"name": "clock", "passed": False, "words": "1970"}]}
    made = checks(tmp_path, f"print({json.dumps(said)!r})")
    made.start()
    assert not ended(made).passed
    made.close()


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ("import sys; sys.exit('tapetum: a recording runs; see tapetum status')", "tapetum: a recording runs"),
        ("pass", "without a word"),
        ("print('{}')", "without a word"),
        ("print('no'); import sys; sys.exit('broken')", "broken"),
    ],
)
def test_a_child_that_fails_is_said(tmp_path, script, words):
    made = checks(tmp_path, script)
    made.start()
    found = ended(made)
    made.close()
    assert not found.passed
    assert words in found.error


def test_one_at_a_time_and_none_outlives_the_imager(tmp_path):
    made = checks(tmp_path, "import time; time.sleep(60)")
    made.start()
    assert made.newest.running
    with pytest.raises(Refused, match="a check is running"):
        made.start()
    made.close()
    assert not made.newest.running
    assert not made.newest.passed
