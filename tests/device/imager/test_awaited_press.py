"""The press by which the handheld says yes to a tablet: never a step of the level, never light, never by accident."""

from collections.abc import Iterator

import pytest
from gpiozero import Button
from gpiozero.pins.mock import MockFactory
from hypothesis import given, settings
from hypothesis import strategies as st

from device.controls import open_button
from device.imager.awaited_press import LONGEST_S, REACTION_NS, AwaitedPress
from shared.errors import Refused
from tests.conftest import ManualClock
from tests.device.test_controls import SETTINGS, Hand

REACTION_MS = REACTION_NS / 1e6


@pytest.fixture
def press(manual_clock: ManualClock) -> AwaitedPress:
    return AwaitedPress(manual_clock)


@pytest.fixture(scope="module")
def button() -> Iterator[Button]:
    factory = MockFactory()
    button = open_button(SETTINGS, factory)
    yield button
    button.close()
    factory.close()


@pytest.fixture
def asked(button: Button) -> tuple[Hand, AwaitedPress, int]:
    """A hand on the button, and a press that is awaited."""
    hand = Hand(button)
    hand.actions.awaited = AwaitedPress(hand.clock)
    number = hand.actions.awaited.begin(30).number
    hand.wait_ms(REACTION_MS)
    return hand, hand.actions.awaited, number


def test_one_short_press_confirms_and_steps_nothing(asked):
    hand, press, number = asked
    hand.press()
    hand.wait_ms(1000)
    assert press.look(number).state == "pressed"
    assert hand.actions.done == []
    hand.press()
    hand.wait_ms(1000)
    assert hand.actions.names == ["step"], "the next one has its usual meaning"


def test_a_hold_lights_at_its_usual_moment_and_confirms_nothing(asked, button):
    hand, press, number = asked
    free = Hand(button)
    for one in (free, hand):
        one.actions.done.clear()
        one.controls._button.when_pressed, one.controls._button.when_released = (
            one.controls._on_pressed,
            one.controls._on_released,
        )
        start_ms = one.clock.time_ns / 1e6
        one.down()
        one.wait_ms(700)
        one.up()
        one.wait_ms(1000)
        lit_ms = next(at for name, at in one.actions.done if name == "on")
        assert one.actions.names == ["on", "off"]
        assert lit_ms + 1000 - start_ms == pytest.approx(SETTINGS.hold_ms, abs=1)
    assert press.look(number).state == "waiting", "what holds end is the imager's to say"


@pytest.mark.parametrize(("presses", "does"), [(2, "record"), (3, "injection")])
def test_double_and_triple_press_do_what_they_always_do(asked, presses, does):
    hand, press, number = asked
    for _ in range(presses):
        hand.press()
    hand.wait_ms(1000)
    assert [name.split()[0] for name in hand.actions.names] == [does]
    assert press.look(number).state == "waiting"


def test_a_finger_that_was_on_its_way_already_means_something_else(button):
    hand = Hand(button)
    hand.actions.awaited = press = AwaitedPress(hand.clock)
    hand.down()
    hand.wait_ms(50)
    number = press.begin(30).number
    hand.wait_ms(100)
    hand.up()
    hand.wait_ms(1000)
    assert hand.actions.names == ["step"]
    assert press.look(number).state == "waiting"


def test_nobody_waits_longer_than_asked_nor_than_the_longest(press, manual_clock):
    begun = press.begin(600)
    number = begun.number
    assert begun.seconds_left == LONGEST_S
    manual_clock.advance_ms(LONGEST_S * 1000)
    assert press.look(number).state == "ended"
    assert not press.take(manual_clock.now_ns())


def test_a_press_in_time_counts_even_if_it_is_recognised_late(press, manual_clock):
    number = press.begin(30).number
    manual_clock.advance_ms(29_900)
    pressed_ns = manual_clock.now_ns()
    manual_clock.advance_ms(450)  # a single press is told from a double one after it ended
    assert press.take(pressed_ns)
    assert press.look(number).state == "pressed"


def test_one_at_a_time_and_an_old_number_has_ended(press, manual_clock):
    first = press.begin(30).number
    with pytest.raises(Refused, match="awaited already"):
        press.begin(30)
    press.end("the button is needed for the light")
    assert press.look(first).reason == "the button is needed for the light"
    manual_clock.advance_ms(1)
    second = press.begin(30).number
    assert press.look(first).state == "ended"
    assert press.look(second).state == "waiting"


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["begin", "take", "end", "wait"]), st.integers(0, 40_000)), max_size=30))
def test_no_order_of_events_confirms_twice_or_after_the_end(events):
    clock = ManualClock()
    press = AwaitedPress(clock)
    begun_ns: int | None = None
    for event, wait_ms in events:
        if event == "begin":
            try:
                press.begin(30)
                begun_ns = clock.now_ns()
            except Refused:
                assert begun_ns is not None
        elif event == "take":
            taken = press.take(clock.now_ns())
            due = begun_ns is not None and REACTION_NS <= clock.now_ns() - begun_ns < 30_000_000_000
            assert taken == due
            begun_ns = None if taken else begun_ns
        elif event == "end":
            press.end("over")
            begun_ns = None
        else:
            clock.advance_ms(wait_ms)
