"""The button on gpiozero's mock pins: gestures become actions, and light never outlasts the finger."""

import threading
from collections.abc import Iterator

import pytest
from gpiozero import Button
from gpiozero.pins.mock import MockFactory
from hypothesis import given, settings
from hypothesis import strategies as st

from device.controls import STUCK_AFTER_S, Controls, open_button
from device.imager.awaited_press import AwaitedPress
from shared.errors import Refused
from shared.settings import ButtonSettings
from tests.conftest import ManualClock

SETTINGS = ButtonSettings(debounce_ms=20, hold_ms=500, double_press_ms=350)


class FakeActions:
    """Remembers what was asked, with the time; fails on order."""

    def __init__(self, clock: ManualClock) -> None:
        self.clock = clock
        self.done: list[tuple[str, float]] = []
        self.light_wanted = False
        self.failing: set[str] = set()
        self.awaited: AwaitedPress | None = None
        self.threads: dict[str, threading.Thread] = {}

    def _do(self, name: str) -> None:
        self.threads[name] = threading.current_thread()
        self.done.append((name, (self.clock.time_ns - 1_000_000_000) / 1e6))
        if name in self.failing:
            raise RuntimeError(f"{name} fails")

    def light_on(self) -> None:
        self.light_wanted = True
        self._do("on")

    def light_off(self) -> None:
        self.light_wanted = False
        self._do("off")

    def confirmed(self, pressed_ns: int) -> bool:
        return self.awaited is not None and self.awaited.take(pressed_ns)

    def step_light(self) -> None:
        self._do("step")

    def toggle_recording(self) -> None:
        self._do("record")

    def mark_injection(self, pressed_ns: int) -> None:
        self._do(f"injection at {(pressed_ns - 1_000_000_000) / 1e6:g}")

    @property
    def names(self) -> list[str]:
        return [name for name, _ in self.done]


class Hand:
    """A finger on a mock pin, and an imager's loop that turns at every deadline and every ``turn_ms``."""

    def __init__(self, button: Button, hold_to_light: bool = True) -> None:
        self.pin = button.pin
        self.pin.drive_low()  # down and up, so that gpiozero has seen the level even after a lost edge
        self.pin.drive_high()
        self.clock = ManualClock()
        self.actions = FakeActions(self.clock)
        self.controls = Controls(button, self.actions, SETTINGS, hold_to_light=hold_to_light, clock=self.clock)

    def down(self) -> None:
        self.pin.drive_low()

    def up(self) -> None:
        self.pin.drive_high()

    def wait_ms(self, milliseconds: float, turn_ms: float = 33.0) -> None:
        end_ns = self.clock.time_ns + round(milliseconds * 1e6)
        while self.clock.time_ns < end_ns:
            deadline_ns = self.controls.next_deadline_ns or end_ns
            soonest_ns = min(deadline_ns, self.clock.time_ns + round(turn_ms * 1e6), end_ns)
            self.clock.sleep_until_ns(soonest_ns)
            self.controls.run_due()

    def press(self, down_ms: float = 100, then_ms: float = 100) -> None:
        self.down()
        self.wait_ms(down_ms)
        self.up()
        self.wait_ms(then_ms)


@pytest.fixture(scope="module")
def button() -> Iterator[Button]:
    factory = MockFactory()
    button = open_button(SETTINGS, factory)
    yield button
    button.close()
    factory.close()


@pytest.fixture
def hand(button: Button) -> Hand:
    return Hand(button)


def test_a_short_press_steps_the_level_and_makes_no_light(hand):
    hand.press()
    hand.wait_ms(1000)
    assert hand.actions.done == [("step", 450.0)]


def test_a_double_press_toggles_the_recording(hand):
    hand.press()
    hand.press()
    hand.wait_ms(1000)
    assert hand.actions.done == [("record", 650.0)]


def test_a_triple_press_marks_the_injection_at_its_first_edge(hand):
    hand.wait_ms(50)
    for _ in range(3):
        hand.press()
    hand.wait_ms(1000)
    assert hand.actions.done == [("injection at 50", 570.0)]


def test_a_hold_lights_after_the_hold_time_for_as_long_as_held(hand):
    hand.down()
    hand.wait_ms(2000)
    hand.up()
    hand.wait_ms(1000)
    assert hand.actions.done == [("on", 500.0), ("off", 2000.0)]


def test_a_release_ends_the_light_on_the_pin_thread_without_waiting_for_the_loop(hand):
    hand.down()
    hand.wait_ms(600)
    release = threading.Thread(target=hand.up, name="pins")
    release.start()
    release.join(timeout=5)
    assert hand.actions.names == ["on", "off"]
    assert hand.actions.threads["off"] is release
    hand.wait_ms(1000)
    assert hand.actions.names == ["on", "off"]


def test_everything_else_runs_on_the_loop_thread(hand):
    def finger() -> None:
        hand.down()
        hand.clock.advance_ms(100)
        hand.up()
        hand.clock.advance_ms(1000)

    pins = threading.Thread(target=finger, name="pins")
    pins.start()
    pins.join(timeout=5)
    assert hand.actions.done == []
    hand.controls.run_due()
    assert hand.actions.threads["step"] is threading.current_thread()


def test_a_late_loop_does_not_light_after_the_release(hand):
    hand.down()
    hand.clock.advance_ms(2000)
    hand.up()
    hand.wait_ms(1000)
    assert hand.actions.done == []


def test_a_late_loop_does_not_light_for_the_hold_before_the_present_one(hand):
    hand.down()
    hand.clock.advance_ms(800)
    hand.up()
    hand.clock.advance_ms(100)
    hand.down()
    hand.clock.advance_ms(800)
    hand.controls.run_due()
    assert hand.actions.names == ["on"]
    hand.up()
    assert hand.actions.names == ["on", "off"]


def test_a_release_edge_the_driver_lost_is_found_at_the_next_turn(hand):
    hand.down()
    hand.wait_ms(600)
    hand.pin._change_state(True)  # the level changes, no callback comes
    assert hand.actions.names == ["on"]
    hand.wait_ms(33)
    assert hand.actions.done[-1] == ("off", 633.0)


def test_switching_mode_a_hold_lights_and_the_next_hold_ends_it(button):
    hand = Hand(button, hold_to_light=False)
    hand.press(600, 1000)
    assert hand.actions.done == [("on", 500.0)]
    hand.press(600, 1000)
    assert hand.actions.done == [("on", 500.0), ("off", 2100.0)]


def test_switching_mode_a_hold_ends_a_light_the_page_switched_on(button):
    hand = Hand(button, hold_to_light=False)
    hand.actions.light_wanted = True
    hand.press(600, 1000)
    assert hand.actions.names == ["off"]


def test_switching_mode_a_late_loop_still_ends_the_light_but_never_begins_it(button):
    hand = Hand(button, hold_to_light=False)
    hand.down()
    hand.clock.advance_ms(2000)
    hand.up()
    hand.controls.run_due()
    assert hand.actions.names == []
    hand.actions.light_wanted = True
    hand.down()
    hand.clock.advance_ms(2000)
    hand.up()
    hand.controls.run_due()
    assert hand.actions.names == ["off"]


@pytest.mark.parametrize("failing", ["step", "record"])
def test_an_action_that_fails_ends_the_light_and_is_raised(hand, failing):
    hand.actions.failing = {failing}
    hand.press()
    if failing == "record":
        hand.press()
    with pytest.raises(RuntimeError, match=failing):
        hand.wait_ms(1000)
    assert hand.actions.names == [failing, "off"]


def test_light_on_that_fails_halfway_ends_the_light(hand):
    hand.actions.failing = {"on"}
    hand.down()
    with pytest.raises(RuntimeError, match="on fails"):
        hand.wait_ms(1000)
    assert hand.actions.names == ["on", "off"]


def test_light_off_that_fails_on_the_pin_thread_is_tried_again_and_raised_in_the_loop(hand):
    hand.down()
    hand.wait_ms(600)
    hand.actions.failing = {"off"}
    with pytest.raises(RuntimeError, match="off fails"):
        hand.up()
    hand.actions.failing = set()
    with pytest.raises(RuntimeError, match="off fails"):
        hand.controls.run_due()
    assert hand.actions.names == ["on", "off", "off", "off"]
    assert not hand.actions.light_wanted


def test_a_pin_that_cannot_be_read_ends_the_light(hand, monkeypatch):
    hand.down()
    hand.wait_ms(600)

    def unreadable(_self):
        raise OSError("line gone")

    monkeypatch.setattr(type(hand.pin), "_get_state", unreadable)
    with pytest.raises(OSError, match="line gone"):
        hand.wait_ms(100)
    assert hand.actions.names == ["on", "off"]


def test_a_button_that_is_down_at_the_start_is_reported_and_ignored_until_released(button):
    button.pin.drive_low()
    clock = ManualClock()
    actions = FakeActions(clock)
    controls = Controls(button, actions, SETTINGS, hold_to_light=True, clock=clock)
    clock.advance_ms(5000)
    controls.run_due()
    assert actions.done == []
    assert "released" in controls.warnings[0]
    button.pin.drive_high()
    clock.advance_ms(1000)
    controls.run_due()
    assert controls.warnings == ()
    assert actions.done == []


def test_a_stuck_button_is_reported(hand):
    hand.down()
    hand.wait_ms(1000)
    assert hand.controls.warnings == ()
    hand.wait_ms(STUCK_AFTER_S * 1000, turn_ms=10_000)
    assert hand.controls.warnings == ("the button has been down for 5 minutes; is it stuck?",)
    hand.up()
    hand.wait_ms(100)
    assert hand.controls.warnings == ()


def test_closing_ends_the_light_and_frees_the_pin(manual_clock):
    factory = MockFactory()
    button = open_button(SETTINGS, factory)
    actions = FakeActions(manual_clock)
    controls = Controls(button, actions, SETTINGS, hold_to_light=True, clock=manual_clock)
    button.pin.drive_low()
    manual_clock.advance_ms(600)
    controls.run_due()
    controls.close()
    controls.close()
    assert actions.names == ["on", "off", "off"]
    again = open_button(SETTINGS, factory)
    again.close()
    factory.close()


def test_a_pin_with_two_owners_is_refused():
    factory = MockFactory()
    with (
        open_button(SETTINGS, factory),
        pytest.raises(Refused, match=r"the button's pin 20 cannot be opened .*check button.pin"),
    ):
        open_button(SETTINGS, factory)
    factory.close()


steps = st.lists(st.tuples(st.booleans(), st.one_of(st.integers(0, 25), st.integers(26, 900))), max_size=40)


@given(steps, st.integers(1, 200))
@settings(deadline=None)
def test_light_is_on_only_while_the_finger_is_down(button, steps, turn_ms):
    hand = Hand(button)
    lit, down = False, False
    for press, wait_ms in steps:
        for _ in range(max(1, wait_ms // turn_ms)):
            before = len(hand.actions.done)
            (hand.down if press else hand.up)()
            down = press
            hand.wait_ms(min(wait_ms, turn_ms), turn_ms)
            for name in hand.actions.names[before:]:
                if name == "on":
                    assert down
                    assert not lit
                lit = {"on": True, "off": False}.get(name, lit)
            assert not lit or down
    hand.up()
    names = [name for name in hand.actions.names if name in ("on", "off")]
    assert names == ["on", "off"] * (len(names) // 2)
