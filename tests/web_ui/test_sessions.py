import json
import stat
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.errors import Refused
from tests.conftest import ManualClock
from web_ui.sessions import IDLE_S, LONGEST_S, MOST, Sessions


@pytest.fixture
def sessions(manual_clock):
    return Sessions(manual_clock)


def test_each_browser_has_its_own_token_and_none_can_be_made_up(sessions):
    (one, token), (other, other_token) = sessions.open("word"), sessions.open("word")
    assert one.number != other.number
    assert one.label != other.label
    assert len(token) >= 43  # 256 bits in base64
    assert sessions.of(token).number == one.number
    assert sessions.of(other_token).number == other.number
    assert sessions.of(None) is None
    for at in range(len(token)):
        assert sessions.of(token[:at] + ("A" if token[at] != "A" else "B") + token[at + 1 :]) is None


@pytest.mark.parametrize("cookie", ["", "x", "\x00", "\udcff", "y" * 5000])
def test_made_up_tokens_open_nothing(sessions, cookie):
    sessions.open("word")
    assert sessions.of(cookie) is None


def test_a_session_ends_when_nobody_was_heard_of_for_long(sessions, manual_clock):
    _, token = sessions.open("word")
    for _ in range(3):
        manual_clock.advance_ms(IDLE_S * 1000 - 1)
        assert sessions.of(token) is not None
    manual_clock.advance_ms(IDLE_S * 1000 + 1)
    assert sessions.all() == ()
    assert sessions.of(token) is None


def test_a_session_ends_however_often_it_is_heard_of(sessions, manual_clock):
    _, token = sessions.open("word")
    heard_s = 0
    while sessions.of(token) is not None:
        manual_clock.advance_ms(600_000)
        heard_s += 600
    assert LONGEST_S < heard_s <= LONGEST_S + 600


def test_what_the_run_folder_remembers_opens_nothing(tmp_path, manual_clock):
    path = tmp_path / "sessions.json"
    first = Sessions(manual_clock, path)
    session, token = first.open("button", "amber heron")
    first.set_controller(session.number)
    text = path.read_text()
    assert token not in text
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    again = Sessions(manual_clock, path)
    assert again.of(token) == replace(first.of(token))
    assert again.controller.label == "amber heron"
    for value in json.loads(text)["sessions"][0].values():
        assert again.of(str(value)) is None


def test_revoked_stays_revoked_after_a_restart(tmp_path, manual_clock):
    first = Sessions(manual_clock, tmp_path / "sessions.json")
    session, token = first.open("word")
    assert first.end(session.number)
    assert not first.end(session.number)
    assert Sessions(manual_clock, tmp_path / "sessions.json").of(token) is None


@pytest.mark.parametrize("text", ["", "[]", '{"sessions": [{}]}', '{"other": 1}'])
def test_spoiled_file_is_refused_by_name(tmp_path, manual_clock, text):
    (tmp_path / "sessions.json").write_text(text)
    with pytest.raises(Refused, match=r"sessions\.json"):
        Sessions(manual_clock, tmp_path / "sessions.json")


def test_there_is_room_for_so_many_and_no_more(sessions):
    opened = [sessions.open("word")[0] for _ in range(MOST)]
    with pytest.raises(Refused, match="too many tablets"):
        sessions.open("word")
    sessions.end(opened[0].number)
    sessions.open("word")


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from(["open", "use", "end", "control", "wait"]), st.integers(0, 9_000)), max_size=40)
)
def test_never_two_controllers_and_nobody_whose_time_is_over(events):
    clock = ManualClock()
    sessions = Sessions(clock)
    tokens: list[str] = []
    paired_s: dict[str, float] = {}
    for event, value in events:
        known = sessions.all()
        if event == "open":
            session, token = sessions.open("word")
            tokens.append(token)
            paired_s[session.number] = clock.now_ns() / 1e9
        elif event == "use" and tokens:
            sessions.of(tokens[value % len(tokens)])
        elif event == "end" and known:
            sessions.end(known[value % len(known)].number)
        elif event == "control" and known:
            sessions.set_controller(known[value % len(known)].number)
        else:
            clock.advance_ms(value * 1000)
        now_s = clock.now_ns() / 1e9
        assert sum(one.controls for one in sessions.all()) <= 1
        assert all(now_s - paired_s[one.number] <= LONGEST_S for one in sessions.all())
