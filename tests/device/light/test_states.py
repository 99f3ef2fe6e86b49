"""The guard explored: every reachable state breadth first, one condition at a time, and random walks with all of them at once."""

import itertools
from collections import deque
from dataclasses import dataclass, replace

import pytest
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from device.light.condition import Facts
from device.light.conditions import SAME_EXPOSURES, conditions
from device.light.on_time import OnTime
from device.light.sensed import Sensed
from device.light.states import TABLE, Light, event_for, stepped
from shared.sensor_settings import CoverSettings, DistanceSettings, SupplySettings, TemperatureSettings
from shared.settings import LightSettings
from tests.conftest import ManualClock
from tests.device.light.explored_guard import (
    FINE,
    LONGEST_LIT_MS,
    MS,
    REST_MS,
    SILENT_MS,
    VALUES,
    Explored,
)

STATES = ("off", "ready", "lit", "tripped", "released")
EVENTS = ("able", "unable", "asked", "not asked", "fault", "release", "press")

HAND = ("want_on", "want_off", "release", "press")
SENSES = ("sense_fine", "sense_between", "sense_beyond")
UNSEEN_BY_THE_GUARD = ("starved_tick", "break_pwm", "mend_pwm")

FITTED = LightSettings(
    led_temperature=TemperatureSettings("1-wire", silent_ms=SILENT_MS),
    supply=SupplySettings("monitor", silent_ms=SILENT_MS),
    cover=CoverSettings("switch", silent_ms=SILENT_MS),
    distance=DistanceSettings("ranger", silent_ms=SILENT_MS),
)
SETTINGS_OF = {
    "LED temperature": "led_temperature",
    "supply": "supply",
    "cover": "cover",
    "distance": "distance",
}


def only(no_sensors, name):
    """Settings with that one sensor fitted, and a short lease, so that there is less to explore."""
    return replace(no_sensors, lease_ms=40, **{SETTINGS_OF[name]: getattr(FITTED, SETTINGS_OF[name])})


def explore(start, steps):
    """Every sequence of ``steps``, breadth first, until no state is new."""
    start.bench.log = None
    start.bench.guard._log = _Nowhere()
    seen = {start.key()}
    queue = deque([(start, ())])
    lit_nodes, trips_left, edges = 0, 0, 0
    while queue:
        node, path = queue.popleft()
        for step in steps:
            if step == "connect" and node.connected:
                continue  # the loop turns a second imager away
            if step == "clock_steps_back" and node.stepped_back:
                continue  # once a path: each further step only moves the same picture
            after = node.forked()
            after.bench.acts.clear()
            was_tripped, had_let_go = node.tripped, node.let_go
            try:
                getattr(after, step)()
                if step not in UNSEEN_BY_THE_GUARD:
                    after.bench.guard.turn()
                    after.check()
            except AssertionError as error:
                raise AssertionError(f"after {' '.join((*path, step))}: {error}") from error
            if was_tripped and not after.tripped:
                assert step == "press", f"trip left by {step} after {path}"
                assert had_let_go, f"trip left without letting go after {path}"
                assert not after.bench.shining
                trips_left += 1
            if not after.tripped:
                after.let_go = False
            edges += 1
            lit_nodes += after.bench.shining
            if (key := after.key()) not in seen:
                seen.add(key)
                queue.append((after, (*path, step)))
    print(f"{len(seen)} states, {edges} steps, {lit_nodes} lit, {trips_left} trips left")
    # the walk itself must have gone somewhere
    assert {key[0] for key in seen} == set(STATES)
    assert lit_nodes > 20
    assert trips_left > 5
    return seen


def test_every_sequence_of_events_explored_breadth_first(make_bench):
    steps = (
        "connect",
        "vanish",
        *HAND,
        "want_nothing",
        "frames",
        "same_frame_again",
        "frame_from_the_future",
        "look",
        "nonsense",
        "tick",
        "starved_tick",
        "clock_steps_back",
        "break_pwm",
        "mend_pwm",
    )
    assert len(explore(Explored(make_bench(ManualClock())), steps)) > 1000


@pytest.mark.parametrize("name", ["LED temperature", "cover", "distance"])
def test_every_sequence_with_a_sensor(make_bench, no_sensors, name):
    explored = Explored(make_bench(ManualClock(), only(no_sensors, name)), [name])
    steps = ("connect", *HAND, "frames", *SENSES, "tick", "starved_tick")
    # The code is one for all: the supply is watched as the distance is, and one is enough for a clock that steps back.
    seen = explore(explored, (*steps, "clock_steps_back") if name == "cover" else steps)
    assert len(seen) > 200


def test_every_sequence_of_exposures(make_bench):
    steps = ("connect", *HAND, "frame", "frame_of_another_exposure", "tick")
    explore(Explored(make_bench(ManualClock())), steps)


def test_every_sequence_of_second_opinions(make_bench):
    steps = (
        "connect",
        *HAND,
        "frames",
        "frame_that_saw_the_ring_in_the_dark",
        "frame_that_agrees",
        "frame_that_saw_no_light",
        "tick",
    )
    explore(Explored(make_bench(ManualClock())), steps)


def test_every_sequence_with_a_limit_of_continuous_light(make_bench, no_sensors):
    settings = replace(no_sensors, longest_lit_s=LONGEST_LIT_MS / 1000, rest_s=REST_MS / 1000)
    explored = Explored(make_bench(ManualClock(), settings))
    explore(explored, ("connect", *HAND, "frames", "tick", "starved_tick"))


def test_every_sequence_with_an_exposure_budget(make_bench):
    steps = ("connect", *HAND, "frames", "budget_is_plenty", "budget_is_small", "tick", "starved_tick")
    explore(Explored(make_bench(ManualClock())), steps)


class _Nowhere:
    def __call__(self, line):
        pass

    def __deepcopy__(self, memo):
        return self


class Walk(RuleBasedStateMachine):
    """Random walks with every sensor fitted, random times and levels; hypothesis shrinks what breaks."""

    make_bench = None

    def __init__(self):
        super().__init__()
        settings = replace(FITTED, longest_lit_s=LONGEST_LIT_MS / 1000, rest_s=REST_MS / 1000)
        self.it = Explored(type(self).make_bench(ManualClock(), settings), VALUES)
        self.was_tripped = False
        self.last = ""

    EVENTS = (
        "vanish",
        *HAND,
        "want_nothing",
        "frame_of_another_exposure",
        "frame_that_saw_the_ring_in_the_dark",
        "frame_that_agrees",
        "frame_that_saw_no_light",
        "budget_is_plenty",
        "budget_is_small",
        "same_frame_again",
        "frame_from_the_future",
        "look",
        "nonsense",
        "clock_steps_back",
        "break_pwm",
        "mend_pwm",
    )

    @rule(name=st.sampled_from(EVENTS))
    def event(self, name):
        self._do(name)

    @precondition(lambda self: not self.it.connected)
    @rule()
    def connect(self):
        self._do("connect")

    @rule(level=st.one_of(st.just(0.0), st.floats(0.01, 1)))
    def want(self, level):
        self._do("want_on", level)

    @rule(milliseconds=st.floats(0.01, 450))
    def time_passes(self, milliseconds):
        self._do("pass_ms", milliseconds)

    @rule(saying=st.sampled_from([(name, how) for name, values in VALUES.items() for how in values]))
    def sense(self, saying):
        self._do("sense", *saying)

    @rule(frames=st.integers(1, 30), every_ms=st.floats(1, 50))
    def film(self, frames, every_ms):
        """With every sensor answering."""
        for _ in range(frames):
            self._do("sense_fine")
            self._do("frame")
            self._do("pass_ms", every_ms)

    def _do(self, name, *values):
        self.was_tripped, let_go = self.it.tripped, self.it.let_go
        getattr(self.it, name)(*values)
        if name not in UNSEEN_BY_THE_GUARD:
            self.it.bench.guard.turn()
        if self.was_tripped and not self.it.tripped:
            assert name == "press"
            assert let_go
        if not self.it.tripped:
            self.it.let_go = False
        self.last = name

    @invariant()
    def never_lit_without_every_condition(self):
        if self.last not in UNSEEN_BY_THE_GUARD:
            self.it.check()

    @invariant()
    def lit_when_everything_is_true(self):
        """The other half: a guard that is always dark would pass all else."""
        if self.it.tripped or self.it.bench.pwm.broken or self.it.bench.guard._dark_failed:
            return
        if self.it.allowed():
            assert self.it.bench.shining


def test_random_walks(make_bench):
    Walk.make_bench = make_bench
    run_state_machine_as_test(
        Walk, settings=hypothesis_settings(max_examples=60, stateful_step_count=40, deadline=None)
    )


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("event", EVENTS)
def test_the_table_is_the_whole_of_it(state, event):
    light = Light(state, 5, "first" if state in ("tripped", "released") else "")
    after, step = stepped(light, event, 9, "second")
    if (state, event) not in TABLE:
        assert (after, step) == (light, None)
        return
    assert after.state == TABLE[state, event]
    assert (step.at_ns, step.before, step.after, step.reason) == (9, state, after.state, "second")
    if after.latched:
        assert after.trip_reason == ("first" if light.latched else "second")
    else:
        assert after.trip_reason == ""


def test_lit_is_entered_from_ready_alone_and_every_state_but_a_trip_can_trip():
    assert [key for key, after in TABLE.items() if after == "lit"] == [("ready", "asked")]
    assert all(TABLE[state, "fault"] == "tripped" for state in STATES if state != "tripped")
    assert {key for key in TABLE if key[0] == "tripped"} == {("tripped", "release")}


def all_true(**spoiled):
    """Facts with which every condition holds, but for what is spoiled."""
    sensed = {name: Sensed(values[FINE], 5, True) for name, values in VALUES.items()}
    facts = {
        "now_ns": 10,
        "imager_connected": True,
        "lease_end_ns": 11,
        "wanted_on": True,
        "wanted_level": 0.5,
        "on_time": OnTime(FITTED, 0),
        "allowance": Allowed(None),
        "same_exposures": SAME_EXPOSURES,
        "sensed": sensed,
    }
    return Facts(**{**facts, **spoiled})


@dataclass(frozen=True)
class Allowed:
    left: int | None

    def left_ns(self, level, now_ns):
        return self.left

    def words(self, level, now_ns):
        return "a limit"


def used_up():
    account = OnTime(FITTED, 0)
    account.pass_to(601 * 1000 * MS, lit=True)
    return account


def sensed_but(name):
    good = all_true().sensed
    return {"sensed": {**good, name: replace(good[name], within=False)}}


SPOILED = {
    "ring obeys": {"ring_obeys": False},
    "camera agrees": {"seen": "lit though dark"},
    "imager connected": {"imager_connected": False},
    "frames fresh": {"lease_end_ns": 10},
    "exposure locked": {"same_exposures": SAME_EXPOSURES - 1},
    **{name: sensed_but(name) for name in VALUES},
    "continuous light": {"on_time": used_up()},
    "exposure budget": {"allowance": Allowed(0)},
    "operator wants light": {"wanted_on": False},
    "level sane": {"wanted_level": 0.0},
}


def test_every_condition_alone_keeps_the_light_off_and_darkens_it():
    every = conditions(FITTED)
    assert {one.name for one in every} == set(SPOILED), "a new condition needs its line here"
    assert event_for(Light("ready"), every, all_true()) == ("asked", "every condition holds")
    assert event_for(Light("lit"), every, all_true()) is None
    for one in every:
        facts = all_true(**SPOILED[one.name])
        assert not one.holds(facts)
        asked = event_for(Light("ready"), every, facts)
        assert asked is None or asked[0] != "asked"
        event, reason = event_for(Light("lit"), every, facts)
        assert event == ("fault" if one.trips else "unable" if one.group == "device" else "not asked")
        assert reason == one.sentence(facts) != ""


def test_no_mixture_of_conditions_lights_or_stays_lit_but_all_of_them():
    """Every subset of spoiled conditions, in every state: 16383 of them."""
    every = conditions(FITTED)
    spoiled_sensors = {name: SPOILED[name]["sensed"][name] for name in VALUES}
    for count in range(1, len(every) + 1):
        for names in itertools.combinations(SPOILED, count):
            spoiled = {key: value for name in names for key, value in SPOILED[name].items()}
            spoiled["sensed"] = {
                **all_true().sensed,
                **{name: spoiled_sensors[name] for name in names if name in VALUES},
            }
            facts = all_true(**spoiled)
            assert (event_for(Light("ready"), every, facts) or ("stays",))[0] in ("stays", "unable", "fault")
            assert event_for(Light("lit"), every, facts)[0] in ("fault", "unable", "not asked")
            for state in ("off", "tripped", "released"):
                found = event_for(Light(state), every, facts)
                assert found is None or TABLE.get((state, found[0])) != "lit"


def test_an_absent_sensor_is_in_the_list_and_stops_nothing(no_sensors):
    every = conditions(no_sensors)
    absent = [one for one in every if one.absent]
    assert [one.name for one in absent] == list(VALUES)
    assert all("is fitted" in one.sentence(all_true()) for one in absent)
    assert event_for(Light("ready"), every, all_true(sensed={})) == ("asked", "every condition holds")


@pytest.mark.parametrize("level", [0.0, -0.1, 0.61, float("nan")])
def test_a_level_outside_the_settings_is_not_lit(level):
    (sane,) = [one for one in conditions(replace(FITTED, levels=(0.6,))) if one.name == "level sane"]
    assert not sane.holds(all_true(wanted_level=level))
    assert "0.6" in sane.sentence(all_true(wanted_level=level))
