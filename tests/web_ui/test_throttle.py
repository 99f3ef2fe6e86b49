import pytest

from web_ui.throttle import Throttle, TooManyTries


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


def test_other_rates_can_be_told(manual_clock):
    throttle = Throttle(manual_clock, own=(1, 20.0), everyone=(2, 10.0))
    throttle.admit("a")
    with pytest.raises(TooManyTries, match="wait 20 s"):
        throttle.admit("a")
    throttle.admit("b")
    with pytest.raises(TooManyTries, match="wait 10 s"):
        throttle.admit("c")
