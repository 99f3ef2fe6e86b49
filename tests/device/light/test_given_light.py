"""Light that a guard gave before it was killed counts for the next one."""

import math
import os

import pytest
from hypothesis import given as drawn
from hypothesis import settings as how
from hypothesis import strategies as st

from device.light.allowance import RingAllowance
from device.light.given_light import LONGEST_NS, UNWRITTEN_NS, WRITTEN_EVERY_NS, Given, GivenLight
from shared.errors import Refused
from shared.settings import LightSettings
from tests.device.light.test_allowance import POINT

S = 1_000_000_000
STEP_NS = 40_000_000


def shine(book, start_ns, seconds, level=1.0, distance_mm=100.0):
    """Light as a guard notes it, turn by turn; returns when it ended."""
    end_ns = start_ns + round(seconds * S)
    for at_ns in range(start_ns, end_ns, STEP_NS):
        book.note(at_ns, min(at_ns + STEP_NS, end_ns), level, distance_mm)
    return end_ns


def lit_ns(found):
    return sum(one.end_ns - one.start_ns for one in found)


def test_a_new_guard_finds_what_the_last_one_gave(tmp_path):
    book = GivenLight(tmp_path / "given", 5 * S)
    assert book.before == ()
    end_ns = shine(book, 10 * S, 7.5)
    book.note(end_ns, end_ns + STEP_NS, 0.0, 100.0)
    shine(book, 30 * S, 2.0, 0.4, 250.0)
    book.note(32 * S, 33 * S, 0.0, 250.0)
    book.close()
    book.close()
    found = GivenLight(tmp_path / "given", 100 * S).before
    assert lit_ns(found) == 9_500_000_000 + UNWRITTEN_NS
    assert found[0].start_ns == 10 * S
    assert {(one.level, one.distance_mm) for one in found} == {(1.0, 100.0), (0.4, 250.0)}


def test_a_killed_guard_is_never_counted_short(tmp_path):
    """Killed at any turn: at least what it gave, at most half a second more."""
    for turns in range(1, 60):
        path = tmp_path / str(turns)
        book = GivenLight(path, 0)
        end_ns = shine(book, S, turns * STEP_NS / S)
        counted = lit_ns(GivenLight(path, 100 * S).before)
        assert end_ns - S <= counted <= end_ns - S + UNWRITTEN_NS
        book.close()


@how(max_examples=60, deadline=None)
@drawn(
    st.lists(
        st.tuples(st.floats(0.01, 3), st.sampled_from([0.0, 0.2, 0.6, 1.0]), st.floats(80, 400)),
        min_size=1,
        max_size=20,
    )
)
def test_no_light_is_lost_nor_thought_farther_away(tmp_path_factory, stretches):
    path = tmp_path_factory.mktemp("given") / "given"
    book, at_ns, dose = GivenLight(path, 0), S, 0.0
    for seconds, level, distance_mm in stretches:
        dose += seconds * level / distance_mm**2
        at_ns = shine(book, at_ns, seconds, level, distance_mm)
    book.note(at_ns, at_ns + STEP_NS, 0.0, 100.0)
    book.close()
    again = GivenLight(path, at_ns + STEP_NS)
    counted = sum((one.end_ns - one.start_ns) / S * one.level / one.distance_mm**2 for one in again.before)
    assert counted >= dose * (1 - 1e-6)
    assert all(one.end_ns - one.start_ns <= LONGEST_NS + STEP_NS + UNWRITTEN_NS for one in again.before)
    again.close()


def test_the_budget_goes_on_where_it_was(tmp_path):
    """400 W/m2 is allowed for 160.06 s (IEC 62471:2006 4.3.7); a restart after 100 s leaves 60 of them, not 160."""
    settings = LightSettings(shortest_working_distance_mm=100.0)
    book = GivenLight(tmp_path / "given", 0)
    first = RingAllowance(POINT, settings, S, book)
    for at_ns in range(S, 101 * S, STEP_NS):
        first.pass_to(at_ns + STEP_NS, 1.0)
    left_ns = first.left_ns(1.0, 101 * S)
    book.close()
    again = GivenLight(tmp_path / "given", 101 * S)
    second = RingAllowance(POINT, settings, 101 * S, again)
    assert second.left_ns(1.0, 101 * S) == pytest.approx(left_ns, abs=0.2 * S)
    assert 58 * S < left_ns < 60.1 * S
    again.close()


def test_software_pwm_counts_as_full_level():
    """A held-up thread leaves its pin high: 400 W/m2, whatever the level."""
    settings = LightSettings(shortest_working_distance_mm=100.0, pwm="software", pwm_hz=1000.0)
    account = RingAllowance(POINT, settings, S)
    assert account.left_ns(0.3, S) == pytest.approx(160.06 * S, rel=0.02)
    assert "100 %" in account.words(0.3, S) or "100%" in account.words(0.3, S)


@pytest.mark.parametrize(
    "bad",
    [
        Given(5, 4, 1.0, 100.0),
        Given(1, 2, 1.5, 100.0),
        Given(1, 2, math.nan, 100.0),
        Given(1, 2, 1.0, 0.0),
        Given(1, 10 * S, 1.0, 100.0),
    ],
)
def test_a_damaged_book_is_refused(tmp_path, bad):
    book = GivenLight(tmp_path / "given", 0)
    book._write(bad)
    book.close()
    with pytest.raises(Refused, match="cannot be counted"):
        GivenLight(tmp_path / "given", S)


def test_light_that_cannot_be_written_down_is_refused(tmp_path):
    """A full run folder: the guard ends, dark, rather than give light that nobody counts."""
    book = GivenLight(tmp_path / "given", 0)
    full = os.open("/dev/full", os.O_RDWR)
    os.dup2(full, book._handle)
    os.close(full)
    with pytest.raises(Refused, match="No space left"):
        book.note(S, S + WRITTEN_EVERY_NS, 1.0, 100.0)
    book.close()


def test_a_folder_that_is_missing(tmp_path):
    with pytest.raises(Refused, match="No such file"):
        GivenLight(tmp_path / "nowhere" / "given", 0)
