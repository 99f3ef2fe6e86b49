"""Who controls: one at a time, handed over by consent or presence, never by chance."""

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from tests.conftest import ManualClock
from web_ui.roles import ASK_S, LOST_S, Roles
from web_ui.sessions import Sessions


class House:
    """Sessions and roles by a clock that is turned by hand; ``darkened`` counts how often control was lost."""

    def __init__(self, clock):
        self.clock = clock
        self.sessions = Sessions(clock)
        self.roles = Roles(self.sessions, clock)
        self.darkened = 0
        self.roles.on_change = self._darken

    def _darken(self):
        self.darkened += 1

    def comes(self, way="word", page=True):
        session, _ = self.sessions.open(way)
        self.roles.welcome(session)
        if page:
            self.roles.page_opened(session)
        return session

    def leaves(self, session, said_goodbye=True):
        self.roles.page_closed(session, said_goodbye)

    @property
    def controller(self):
        found = self.sessions.controller
        return found and found.number


@pytest.fixture
def house(manual_clock):
    return House(manual_clock)


@pytest.mark.parametrize("way", ["word", "button"])
def test_the_first_controls_and_the_next_watches(house, way):
    first, second = house.comes(way), house.comes(way)
    assert house.roles.role(first) == "controls"
    assert house.roles.role(second) == "watches"
    assert house.roles.may_act(first)
    assert not house.roles.may_act(second)


def test_control_goes_over_by_consent_and_not_without(house):
    first, second = house.comes(), house.comes("button")
    assert house.roles.ask(second) == "asked"
    assert house.roles.asker.number == second.number
    assert not house.roles.may_act(second)
    assert house.roles.answer(second.number, give=False)
    assert house.roles.ask(second) == "refused"
    assert house.roles.ask(second) == "asked"
    assert house.roles.answer(second.number, give=True)
    assert house.roles.ask(second) == "controls"
    assert house.roles.role(first) == "watches"
    assert house.darkened == 1


def test_one_asks_at_a_time_and_not_for_ever(house):
    _, second, third = house.comes(), house.comes("button"), house.comes("button")
    assert house.roles.ask(second) == "asked"
    assert house.roles.ask(third) == "busy"
    house.clock.advance_ms(ASK_S * 1000)
    assert not house.roles.answer(second.number, give=True)
    assert house.roles.ask(third) == "asked"
    assert not house.roles.answer(second.number, give=True)


@pytest.mark.parametrize("way", ["button", "invitation"])
def test_without_the_word_presence_replaces_a_controller_that_vanished(house, way):
    first, second = house.comes(), house.comes(way)
    house.leaves(first, said_goodbye=False)
    assert house.roles.ask(second) == "asked", "it may only have lost its network"
    house.clock.advance_ms(LOST_S * 1000 + 1)
    assert house.roles.ask(second) == "vacant"
    assert not house.roles.may_act(second)
    house.roles.take(second)  # the handheld's button
    assert house.controller == second.number
    house.roles.page_opened(first)
    assert house.controller == second.number, "who comes back watches"


def test_with_the_word_one_act_replaces_a_controller_that_left(house):
    first, second = house.comes(), house.comes()
    assert not house.roles.may_act(second)
    house.leaves(first)
    assert house.roles.may_act(second)
    assert house.controller == second.number


def test_a_lost_network_of_seconds_costs_no_control(house):
    first, second = house.comes(), house.comes()
    house.leaves(first, said_goodbye=False)
    house.clock.advance_ms(LOST_S * 1000 - 1)
    assert not house.roles.may_act(second)
    house.roles.page_opened(first)
    house.clock.advance_ms(LOST_S * 10_000)
    assert not house.roles.may_act(second)
    assert house.roles.may_act(first)


def test_a_page_that_takes_single_pictures_is_here_as_long_as_it_does(house):
    first, second = house.comes(), house.comes("word")
    house.leaves(first, said_goodbye=False)
    for _ in range(5):
        house.clock.advance_ms(LOST_S * 900)
        house.roles.page_looked(first)
        assert house.roles.here(first)
        assert not house.roles.may_act(second)
    house.clock.advance_ms(LOST_S * 1000 + 1)
    assert not house.roles.here(first)


def test_a_program_gives_way_to_a_page_and_a_page_to_no_program(house):
    program = house.comes(page=False)
    other = house.comes(page=False)
    assert house.roles.may_act(program)
    assert not house.roles.may_act(other)
    page = house.comes()
    assert house.controller == page.number
    assert not house.roles.may_act(program)
    house.leaves(page)
    assert house.roles.may_act(program)


def test_whoever_comes_back_first_after_a_restart_gets_no_control(house):
    first, second = house.comes(), house.comes()
    again = Roles(house.sessions, house.clock)
    again.page_opened(second)
    assert not again.may_act(second)
    again.page_opened(first)
    house.clock.advance_ms(LOST_S * 10_000)
    assert not again.may_act(second)
    assert again.may_act(first)


def test_an_invited_page_never_gets_control_by_coming_first(house):
    controller = house.comes()
    guest = house.comes("invitation")
    house.sessions.end(controller.number)
    house.roles.page_opened(guest)
    assert house.controller is None
    assert not house.roles.may_act(guest)
    assert house.roles.ask(guest) == "vacant"


def test_revoking_the_controller_ends_its_light(house):
    controller = house.comes()
    house.sessions.end(controller.number)
    assert house.darkened == 1
    watcher = house.comes()
    house.comes()
    house.sessions.end(house.sessions.all()[-1].number)
    assert house.darkened == 1
    assert house.controller == watcher.number


class AnyOrder(RuleBasedStateMachine):
    """Whatever happens in whatever order: one controller at most, and control moves only by a reason that is written down."""

    def __init__(self):
        super().__init__()
        self.house = House(ManualClock())
        self.pages = {}
        self.reason = True

    @rule(way=st.sampled_from(["word", "button", "invitation"]), page=st.booleans())
    def comes(self, way, page):
        before, here = self.house.sessions.controller, self._here()
        session = self.house.comes(way, page)
        self.pages[session.number] = int(page)
        moved = self.house.controller == session.number
        program = before is not None and before.number not in self.house.roles._pages
        if moved:
            assert way != "invitation"
            assert before is None or (way == "word" and (not here or program))

    @precondition(lambda self: self.house.sessions.all())
    @rule(data=st.data())
    def asks(self, data):
        session = self._any(data)
        before, here = self.house.sessions.controller, self._here()
        answer = self.house.roles.ask(session)
        if before is not None and before.number != self.house.controller:
            assert answer == "controls"
            assert session.way == "word"
            assert not here

    @precondition(lambda self: self.house.sessions.all())
    @rule(data=st.data(), give=st.booleans())
    def answers(self, data, give):
        session, before = self._any(data), self.house.controller
        asked = self.house.roles.asks(session)
        assert self.house.roles.answer(session.number, give) == asked
        assert self.house.controller == (session.number if asked and give else before)

    @precondition(lambda self: self.house.sessions.all())
    @rule(data=st.data(), goodbye=st.booleans())
    def leaves(self, data, goodbye):
        session = self._any(data)
        if self.pages.get(session.number):
            self.pages[session.number] -= 1
            before = self.house.controller
            self.house.leaves(session, goodbye)
            assert self.house.controller == before

    @precondition(lambda self: self.house.sessions.all())
    @rule(data=st.data())
    def is_revoked(self, data):
        session = self._any(data)
        self.house.sessions.end(session.number)
        self.pages.pop(session.number, None)

    @rule(milliseconds=st.integers(0, 60_000))
    def time_passes(self, milliseconds):
        self.house.clock.advance_ms(milliseconds)

    @invariant()
    def one_controls_and_only_it_may_act_while_it_is_here(self):
        controlling = [one for one in self.house.sessions.all() if self.house.roles.role(one) == "controls"]
        assert len(controlling) <= 1
        if self._here():
            assert [one.number for one in self.house.sessions.all() if self.house.roles.may_act(one)] == [
                controlling[0].number
            ]

    def _any(self, data):
        return data.draw(st.sampled_from(self.house.sessions.all()))

    def _here(self):
        controller = self.house.sessions.controller
        return controller is not None and self.house.roles.here(controller)


AnyOrder.TestCase.settings = settings(max_examples=60, stateful_step_count=30, deadline=None)
test_any_order = AnyOrder.TestCase
