import re
import stat

import pytest

from shared.errors import Refused
from web_ui.pair_words import WORDS
from web_ui.pairing import INVITATION_S, Pairing, new_word
from web_ui.sessions import Sessions

WORD = "harbour-anchor-1234"


@pytest.fixture
def sessions(manual_clock):
    return Sessions(manual_clock)


@pytest.fixture
def pairing(sessions, manual_clock):
    return Pairing(WORD, sessions, manual_clock)


def test_word_is_plain_and_has_29_bits():
    assert len(set(WORDS)) == len(WORDS) == 256  # 2 x 8 bits, and 13.3 for four digits
    assert re.fullmatch(r"[a-z]+-[a-z]+-[0-9]{4}", new_word())
    assert new_word() != new_word()


@pytest.mark.parametrize("typed", [WORD, "Harbour anchor 1234", "  HARBOUR-ANCHOR-1234 ", "harbour - anchor - 1234"])
def test_word_is_taken_as_people_type_it(pairing, sessions, typed):
    session, token = pairing.pair(typed, "a")
    assert sessions.of(token).number == session.number
    assert session.way == "word"


@pytest.mark.parametrize("typed", ["", "harbour", "harbouranchor1234", WORD + "5", "ünïcode", "\udcff", "x" * 100_000])
def test_any_other_is_refused(pairing, typed):
    with pytest.raises(Refused, match="not the word"):
        pairing.pair(typed, "a")


def test_short_words_are_refused(sessions, manual_clock):
    with pytest.raises(Refused, match="too short"):
        Pairing("abc", sessions, manual_clock)


def test_restarted_web_process_knows_its_word(tmp_path, sessions, manual_clock):
    first = Pairing.kept_in(tmp_path, sessions, manual_clock)
    assert Pairing.kept_in(tmp_path, sessions, manual_clock).word == first.word
    assert Pairing.kept_in(tmp_path, sessions, manual_clock, WORD).word == WORD
    assert stat.S_IMODE((tmp_path / "pair_word.json").stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.iterdir()] == ["pair_word.json"]


@pytest.mark.parametrize("text", ["", "{", "[]", '{"secret": "00"}'])
def test_spoiled_file_is_refused_by_name(tmp_path, sessions, manual_clock, text):
    (tmp_path / "pair_word.json").write_text(text)
    with pytest.raises(Refused, match=r"pair_word\.json"):
        Pairing.kept_in(tmp_path, sessions, manual_clock)


def test_the_right_word_clears_the_address(pairing):
    for _ in range(3):
        for _ in range(4):
            with pytest.raises(Refused):
                pairing.pair("wrong-word", "a")
        pairing.pair(WORD, "a")


def test_a_browser_that_pairs_again_keeps_its_session(pairing, sessions):
    first, token = pairing.pair(WORD, "a")
    again, no_token = pairing.pair(WORD, "a", sessions.of(token))
    assert (again.number, no_token) == (first.number, None)
    assert len(sessions.all()) == 1


@pytest.fixture
def controller(pairing, sessions):
    session, _ = pairing.pair(WORD, "a")
    sessions.set_controller(session.number)
    return session


def test_an_invitation_pairs_one_browser_once(pairing, sessions, controller):
    secret = pairing.invite(controller)
    assert len(secret) >= 22  # 128 bits in base64
    session, token = pairing.pair(secret, "b")
    assert sessions.of(token).way == session.way == "invitation"
    with pytest.raises(Refused, match="not the word"):
        pairing.pair(secret, "c")


@pytest.mark.parametrize("spoil", ["late", "newer", "handed over", "revoked"])
def test_an_invitation_ends(pairing, sessions, controller, manual_clock, spoil):
    secret = pairing.invite(controller)
    if spoil == "late":
        manual_clock.advance_ms(INVITATION_S * 1000)
    elif spoil == "newer":
        pairing.invite(controller)
    elif spoil == "handed over":
        sessions.set_controller(pairing.pair(WORD, "b")[0].number)
    else:
        sessions.end(controller.number)
    with pytest.raises(Refused, match="not the word"):
        pairing.pair(secret, "c")


def test_an_invited_browser_that_shows_the_word_goes_on_as_one_with_the_word(pairing, sessions, controller):
    invited, token = pairing.pair(pairing.invite(controller), "b")
    session, new_token = pairing.pair(WORD, "b", sessions.of(token))
    assert sessions.of(token) is None
    assert sessions.of(new_token).way == "word"
    assert sessions.get(invited.number) is None
    assert session.number != controller.number
