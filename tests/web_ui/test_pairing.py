import re
import stat

import pytest

from shared.errors import Refused
from web_ui.pair_words import WORDS
from web_ui.pairing import SESSION_S, Pairing, Throttle, TooManyTries, new_word

WORD = "harbour-anchor-1234"


@pytest.fixture
def pairing(manual_clock):
    return Pairing(WORD, b"s" * 32, manual_clock)


def test_word_is_plain_and_has_29_bits():
    assert len(set(WORDS)) == len(WORDS) == 256  # 2 x 8 bits, and 13.3 for four digits
    assert re.fullmatch(r"[a-z]+-[a-z]+-[0-9]{4}", new_word())
    assert new_word() != new_word()


@pytest.mark.parametrize("typed", [WORD, "Harbour anchor 1234", "  HARBOUR-ANCHOR-1234 ", "harbour - anchor - 1234"])
def test_word_is_taken_as_people_type_it(pairing, typed):
    assert pairing.paired(pairing.pair(typed, "a"))


@pytest.mark.parametrize("typed", ["", "harbour", "harbouranchor1234", WORD + "5", "ünïcode", "\udcff", "x" * 100_000])
def test_any_other_is_refused(pairing, typed):
    with pytest.raises(Refused, match="not the word"):
        pairing.pair(typed, "a")


def test_short_words_are_refused(manual_clock):
    with pytest.raises(Refused, match="too short"):
        Pairing("abc", b"s" * 32, manual_clock)


def test_each_browser_has_its_own_cookie_and_none_can_be_made_up(pairing, manual_clock):
    one, other = pairing.pair(WORD, "a"), pairing.pair(WORD, "a")
    assert one != other
    assert not pairing.paired(None)
    for at in range(len(one)):
        changed = one[:at] + ("A" if one[at] != "A" else "B") + one[at + 1 :]
        if at < len(one) - 1:  # the last letter of base64 holds bits that mean nothing
            assert not pairing.paired(changed)
    assert not Pairing(WORD, b"t" * 32, manual_clock).paired(one)


def test_session_ends_by_the_monotonic_clock(pairing, manual_clock):
    cookie = pairing.pair(WORD, "a")
    manual_clock.advance_ms(SESSION_S * 1000 - 1000)
    assert pairing.paired(cookie)
    manual_clock.advance_ms(2000)
    assert not pairing.paired(cookie)


def test_restarted_web_process_knows_its_browsers_and_its_word(tmp_path, manual_clock):
    first = Pairing.kept_in(tmp_path, manual_clock)
    cookie = first.pair(first.word, "a")
    again = Pairing.kept_in(tmp_path, manual_clock)
    assert again.word == first.word
    assert again.paired(cookie)
    assert Pairing.kept_in(tmp_path, manual_clock, WORD).word == WORD
    assert stat.S_IMODE((tmp_path / "pairing.json").stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.iterdir()] == ["pairing.json"]


@pytest.mark.parametrize("text", ["", "{", "[]", '{"secret": "00"}', '{"secret": "xyz", "word": "harbour-1"}'])
def test_spoiled_file_is_refused_by_name(tmp_path, manual_clock, text):
    (tmp_path / "pairing.json").write_text(text)
    with pytest.raises(Refused, match=r"pairing\.json"):
        Pairing.kept_in(tmp_path, manual_clock)


def test_one_address_gets_five_tries_and_then_one_in_five_seconds(manual_clock):
    throttle = Throttle(manual_clock)
    for _ in range(5):
        throttle.admit("a")
    with pytest.raises(TooManyTries, match="wait 5 s"):
        throttle.admit("a")
    throttle.admit("b")
    manual_clock.advance_ms(4900)
    with pytest.raises(TooManyTries, match="wait 1 s"):
        throttle.admit("a")
    manual_clock.advance_ms(200)
    throttle.admit("a")
    with pytest.raises(TooManyTries):
        throttle.admit("a")


def test_all_addresses_together_get_one_try_a_second_in_the_long_run(manual_clock):
    throttle = Throttle(manual_clock)
    admitted = 0
    for second in range(100):
        for address in range(50):
            try:
                throttle.admit(f"{second}-{address}")
                admitted += 1
            except TooManyTries:
                pass
        manual_clock.advance_ms(1000)
    assert admitted == 30 + 99
    assert len(throttle._by_address) <= 1000


def test_the_right_word_clears_the_address(pairing):
    for _ in range(3):
        for _ in range(4):
            with pytest.raises(Refused):
                pairing.pair("wrong-word", "a")
        pairing.pair(WORD, "a")
