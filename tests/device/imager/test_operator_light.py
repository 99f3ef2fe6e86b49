"""What the operator wants: every way that wish can end, on a fake link and a clock turned by hand."""

from dataclasses import dataclass, field

import pytest

from device.imager.operator_light import PAGE_HOLD_NS, RESTART_NS, OperatorLight
from shared.protocol.light import LightState, LightStatus
from tests.conftest import ManualClock

LEVELS = (0.2, 0.5, 1.0)


@dataclass
class FakeLink:
    """Records what it is told; its state is what the test says."""

    state: LightState = "ready"
    reachable: bool = True
    wishes: list[tuple[bool, float]] = field(default_factory=list)
    unlit: list[bool] = field(default_factory=list)
    rearmed: int = 0
    surveys: int = 0

    @property
    def status(self) -> LightStatus:
        return LightStatus(self.state, 0.0, False, 0.0, 0, 0.0, 0.0)

    def want(self, on: bool, level: float, unlit: bool = False) -> LightStatus:
        self.wishes.append((on, level))
        self.unlit.append(unlit)
        return self.status

    def survey(self) -> None:
        self.surveys += 1

    def rearm(self) -> LightStatus:
        self.rearmed += 1
        self.state = "ready"
        return self.status


@pytest.fixture
def link() -> FakeLink:
    return FakeLink()


@pytest.fixture
def light(link: FakeLink, manual_clock: ManualClock) -> OperatorLight:
    return OperatorLight(link, LEVELS, hold_to_light=True, clock=manual_clock)  # type: ignore[arg-type]


@pytest.fixture
def switched(link: FakeLink, manual_clock: ManualClock) -> OperatorLight:
    return OperatorLight(link, LEVELS, hold_to_light=False, clock=manual_clock)  # type: ignore[arg-type]


def test_nobody_wants_light_at_the_start(light: OperatorLight, link: FakeLink) -> None:
    assert not light.wanted
    light.keep_up()
    assert link.wishes == [(False, 0.2)]


def test_a_held_button_is_light_for_as_long_as_it_is_held(
    light: OperatorLight, link: FakeLink, manual_clock: ManualClock
) -> None:
    light.button_on()
    assert link.wishes[-1] == (True, 0.2)
    manual_clock.advance_ms(60_000)
    light.keep_up()
    assert light.wanted
    assert link.wishes == [(True, 0.2)], "told once, not in every turn"
    light.button_off()
    assert link.wishes[-1] == (False, 0.2)


def test_a_page_that_falls_silent_for_a_second_has_let_go(
    light: OperatorLight, link: FakeLink, manual_clock: ManualClock
) -> None:
    for _ in range(10):
        light.page_on()
        manual_clock.advance_ms(300)
        light.keep_up()
        assert link.wishes[-1][0]
    manual_clock.advance_ms(PAGE_HOLD_NS / 1e6 - 300 - 1)
    light.keep_up()
    assert link.wishes[-1][0]
    manual_clock.advance_ms(1)
    light.keep_up()
    assert link.wishes[-1] == (False, 0.2)
    assert not light.wanted


def test_the_page_letting_go_is_off_at_once_unless_a_finger_is_on_the_button(
    light: OperatorLight, link: FakeLink
) -> None:
    light.page_on()
    light.page_off()
    assert link.wishes[-1] == (False, 0.2)
    light.button_on()
    light.page_on()
    light.page_off()
    assert link.wishes[-1] == (True, 0.2)
    light.button_off()
    assert link.wishes[-1] == (False, 0.2)


@pytest.mark.parametrize("held", [False, True])
def test_an_on_that_its_off_overtook_lights_nothing(light: OperatorLight, link: FakeLink, held: bool) -> None:
    light.page_on(held, press=7)
    light.page_off(press=7)
    light.page_on(held, press=7)
    assert not light.wanted
    assert link.wishes[-1] == (False, 0.2)
    light.page_on(held, press=8)
    assert light.wanted


@pytest.mark.parametrize("held", [False, True])
def test_somebody_elses_off_ends_the_press_that_holds(light: OperatorLight, link: FakeLink, held: bool) -> None:
    """A finger, or a step of commissioning in a terminal, that goes on asking does not light again; its next press does."""
    light.page_on(held, press=7)
    light.page_off()
    for _ in range(3):
        light.page_on(held, press=7)
        assert not light.wanted
    assert link.wishes[-1] == (False, 0.2)
    light.page_on(held, press=8)
    assert light.wanted
    light.page_off(press=7)
    light.page_on(held, press=8)
    assert light.wanted, "a finger that was lifted ends no other"


def test_letting_go_of_the_button_does_not_end_a_touch_on_the_page(light: OperatorLight, link: FakeLink) -> None:
    light.page_on()
    light.button_on()
    light.button_off()
    assert link.wishes[-1] == (True, 0.2)


@pytest.mark.parametrize("asked_by", ["button", "page"])
def test_a_trip_forgets_every_wish(light: OperatorLight, link: FakeLink, asked_by: str) -> None:
    light.button_on() if asked_by == "button" else light.page_on()
    link.state = "tripped"
    light.keep_up()
    assert not light.wanted
    assert link.wishes[-1] == (False, 0.2)
    link.state = "ready"
    light.keep_up()
    assert link.wishes[-1] == (False, 0.2), "what was held stays forgotten when the trip is over"


def test_asking_during_a_trip_asks_for_nothing(light: OperatorLight, link: FakeLink) -> None:
    link.state = "tripped"
    light.page_on()
    assert not light.wanted
    assert not any(on for on, _ in link.wishes)
    assert link.rearmed == 0


def test_a_hold_of_the_button_after_a_trip_only_arms_the_next_one_lights(light: OperatorLight, link: FakeLink) -> None:
    link.state = "tripped"
    light.button_on()
    assert link.rearmed == 1
    assert not light.wanted
    light.keep_up()
    assert not any(on for on, _ in link.wishes)
    light.button_off()
    light.button_on()
    assert link.wishes[-1] == (True, 0.2)
    assert link.rearmed == 1


def test_arming_by_the_page_lights_nothing(light: OperatorLight, link: FakeLink) -> None:
    light.button_on()
    link.state = "tripped"
    light.rearm()
    light.keep_up()
    assert link.rearmed == 1
    assert not light.wanted
    assert link.wishes[-1] == (False, 0.2)


def test_a_touch_held_through_a_trip_does_not_light_when_somebody_else_arms(
    light: OperatorLight, link: FakeLink, manual_clock: ManualClock
) -> None:
    light.page_on()
    link.state = "tripped"
    light.keep_up()
    light.button_on()  # arms
    for _ in range(10):
        manual_clock.advance_ms(300)
        light.page_on()
        light.keep_up()
        assert not link.wishes[-1][0]
    light.page_off()
    light.page_on()
    assert link.wishes[-1][0]


def test_a_touch_that_vanished_in_a_trip_counts_as_lifted_after_its_second(
    light: OperatorLight, link: FakeLink, manual_clock: ManualClock
) -> None:
    light.page_on()
    link.state = "tripped"
    light.keep_up()
    light.rearm()
    manual_clock.advance_ms(1000)
    light.page_on()
    assert link.wishes[-1][0]


def test_the_button_wraps_and_the_page_stops_at_the_ends(light: OperatorLight, link: FakeLink) -> None:
    light.step(-1, wrap=False)
    assert light.level == 0.2
    seen = []
    for _ in range(4):
        light.step(1, wrap=True)
        seen.append(light.level)
    assert seen == [0.5, 1.0, 0.2, 0.5]
    for _ in range(3):
        light.step(1, wrap=False)
    assert light.level == 1.0
    assert not any(on for on, _ in link.wishes), "a step lights nothing"
    light.button_on()
    light.step(1, wrap=True)
    assert link.wishes[-1] == (True, 0.2), "a step while lit takes effect at once"


def test_where_the_button_switches_a_hold_is_on_until_off(
    switched: OperatorLight, link: FakeLink, manual_clock: ManualClock
) -> None:
    switched.button_on()
    manual_clock.advance_ms(10_000)
    switched.keep_up()
    assert link.wishes[-1] == (True, 0.2)
    switched.button_off()
    assert link.wishes[-1] == (False, 0.2)
    switched.page_on()
    manual_clock.advance_ms(10_000)
    switched.keep_up()
    assert link.wishes[-1] == (True, 0.2)
    link.state = "tripped"
    switched.keep_up()
    assert link.wishes[-1] == (False, 0.2)


def test_a_guard_that_is_away_is_told_again_until_it_answers(light: OperatorLight, link: FakeLink) -> None:
    link.reachable = False
    light.keep_up()
    light.keep_up()
    assert len(link.wishes) == 2
    link.reachable = True
    light.keep_up()
    light.keep_up()
    assert len(link.wishes) == 3


def restarted(link: FakeLink, clock: ManualClock) -> OperatorLight:
    return OperatorLight(link, LEVELS, hold_to_light=True, clock=clock, restarted=True)  # type: ignore[arg-type]


def test_a_touch_that_was_down_through_a_restart_must_be_lifted_first(
    link: FakeLink, manual_clock: ManualClock
) -> None:
    light = restarted(link, manual_clock)
    manual_clock.advance_ms(8_000)  # guard and page took so long to be back
    for _ in range(200):
        manual_clock.advance_ms(300)
        light.page_on()
        assert not light.wanted
    light.page_off()
    light.page_on()
    assert light.wanted


def test_long_after_a_restart_a_touch_is_a_new_one(link: FakeLink, manual_clock: ManualClock) -> None:
    light = restarted(link, manual_clock)
    manual_clock.advance_ms(RESTART_NS / 1e6)
    light.page_on()
    assert light.wanted


def test_the_guard_is_asked_for_its_conditions_twice_a_second_and_not_every_turn(
    light: OperatorLight, link: FakeLink, manual_clock: ManualClock
) -> None:
    for _ in range(60):
        light.keep_up()
        manual_clock.advance_ms(33)
    assert link.surveys == 4


def test_an_unlit_frame_is_nobody_s_letting_go(light: OperatorLight, link: FakeLink) -> None:
    light.button_on()
    light.keep_unlit(True)
    assert (light.wanted, light.unlit) == (True, True)
    light.keep_unlit(False)
    assert link.wishes[-3:] == [(True, LEVELS[0])] * 3
    assert link.unlit[-3:] == [False, True, False]
    light.keep_unlit(True)
    light.button_off()
    light.keep_unlit(False)
    assert link.wishes[-1] == (False, LEVELS[0]), "what was let go in the dark stays dark"


def test_another_level_waits_for_a_dark_frame_while_the_ring_is_lit(light: OperatorLight, link: FakeLink) -> None:
    light.button_on()
    link.state = "lit"
    light.step(1, wrap=False)
    light.keep_up()
    assert (light.level, light.told_level, light.step_waits) == (LEVELS[1], LEVELS[0], True)
    assert link.wishes[-1] == (True, LEVELS[0])
    light.keep_unlit(True)
    assert (link.wishes[-1], link.unlit[-1], light.step_waits) == ((True, LEVELS[1]), True, False)
    light.step(1, wrap=False)  # in the dark it is set at once
    light.keep_unlit(False)
    assert (link.wishes[-1], link.unlit[-1]) == ((True, LEVELS[2]), False)


def test_a_level_chosen_while_nobody_wants_light_is_told_at_once(light: OperatorLight, link: FakeLink) -> None:
    light.step(1, wrap=False)
    assert link.wishes[-1] == (False, LEVELS[1])
    light.button_on()
    link.state = "lit"
    light.step(1, wrap=False)
    light.button_off()
    assert link.wishes[-1] == (False, LEVELS[2]), "a level that waited goes with the light"
    assert not light.step_waits


def test_a_level_passed_through_asks_for_no_darkness(light: OperatorLight, link: FakeLink) -> None:
    light.button_on()
    link.state = "lit"
    light.step(1, wrap=False)
    light.step(-1, wrap=False)
    assert not light.step_waits


def test_what_was_let_go_of_by_itself_must_be_asked_for_anew(light: OperatorLight, link: FakeLink) -> None:
    light.button_on()
    light.let_go()
    assert not light.wanted
    assert link.wishes[-1] == (False, LEVELS[0])
