"""The guard explored: every reachable state breadth first, and random walks with random numbers.

The oracle is written here from the issue's words, and shares no code with the guard: it keeps its own account of who is
connected, what is wanted, and when the last frame that counts was given.
"""

import copy
from collections import deque

import pytest
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from device.light.conditions import Facts, conditions
from device.light.states import TABLE, Light, event_for, stepped
from shared.protocol.light import Lease, Look, Rearm, Want
from tests.conftest import ManualClock

MS = 1_000_000
TICK_MS = 20  # the reduced clock: a fifth of the lease
STATES = ("off", "ready", "lit", "tripped", "released")
EVENTS = ("able", "unable", "asked", "not asked", "fault", "release", "press")


class Explored:
    """A guard, and the oracle's account of what it was told."""

    def __init__(self, bench):
        self.bench = bench
        self.sequence = 0
        self.connected = False
        self.wanted = False
        self.level = 0.0
        self.lease_end_ns = 0
        self.last_sensor_ns = 0
        self.let_go = False
        self.stepped_back = False

    # -- events; the names are what the failing sequence is printed with
    def connect(self):
        self.connected = True
        self._forget()
        self.bench.guard.imager_came()

    def vanish(self):
        self.connected = False
        self.bench.guard.imager_left()
        self._forget()

    def _forget(self):
        self.wanted, self.level, self.lease_end_ns = False, 0.0, 0

    def want_on(self, level=0.5):
        if not self.connected:
            return None
        self.wanted, self.level, self.let_go = True, level, False
        return self._send(Want(True, level))

    def want_nothing(self):
        return self.want_on(0.0)

    def want_off(self):
        if not self.connected:
            return None
        self.wanted = False
        return self._send(Want(False, self.level))

    def frame(self):
        if not self.connected:
            return None
        self.sequence += 1
        now_ns = self.bench.clock.now_ns()
        if self.last_sensor_ns < now_ns:
            self.last_sensor_ns = now_ns
            self.lease_end_ns = now_ns + 100 * MS
        return self._send(Lease(self.sequence, now_ns, 33_000.0, 15_000.0))

    def same_frame_again(self):
        return self._send(Lease(self.sequence, max(0, self.last_sensor_ns), 33_000.0, 15_000.0))

    def frame_from_the_future(self):
        return self._send(Lease(self.sequence + 1, self.bench.clock.now_ns() + 1, 33_000.0, 15_000.0))

    def look(self):
        return self._send(Look())

    def release(self):
        self.let_go = self.let_go or (self.connected and self.tripped and not self.wanted)
        return self._send(Rearm("release"))

    def press(self):
        return self._send(Rearm("press"))

    def nonsense(self):
        self.let_go = False
        self.wanted = False
        self.bench.guard.fault("nonsense")

    def tick(self):
        """One tick, with the loop's timer honoured."""
        self.pass_ms(TICK_MS)

    def pass_ms(self, milliseconds):
        end_ns = self.bench.clock.now_ns() + round(milliseconds * MS)
        while (due_ns := self.bench.guard.due_ns()) is not None and due_ns <= end_ns:
            self.bench.clock.time_ns = max(due_ns, self.bench.clock.time_ns)
            self.bench.guard.turn()
            self.check()
        self.bench.clock.time_ns = end_ns

    def starved_tick(self):
        """A tick in which the guard got no turn at all."""
        self.bench.clock.time_ns += TICK_MS * MS

    def clock_steps_back(self):
        self.let_go = self.wanted = False
        self.lease_end_ns = 0
        self.stepped_back = True
        self.bench.clock.time_ns = (
            self.bench.guard._now_ns - TICK_MS * MS
        )  # against what the guard saw: it cannot know more
        self.bench.guard.turn()

    def break_pwm(self):
        self.bench.pwm.broken = True

    def mend_pwm(self):
        self.bench.pwm.broken = False

    def _send(self, message):
        return self.bench.guard.take(message) if self.connected else None

    @property
    def tripped(self):
        return self.bench.guard.light.latched

    def allowed(self):
        """The issue's conditions, as the oracle keeps them."""
        fresh = self.bench.clock.now_ns() < self.lease_end_ns
        return self.connected and self.wanted and 0 < self.level <= 1 and fresh

    def check(self):
        """After the guard had a turn: no light unless everything is true, and the state says what the ring does."""
        assert self.bench.guard.light.state == "lit" or not self.bench.shining
        if self.bench.shining:
            assert self.allowed()
        if self.tripped:  # a trip takes the wish back
            self.wanted = self.wanted and self.bench.guard.status(self.bench.clock.now_ns()).wanted_on

    def key(self):
        guard, now_ns = self.bench.guard, self.bench.clock.now_ns()
        return (
            guard.light.state,
            guard._connected,
            guard._wanted_on,
            guard._wanted_level,
            max(0, guard._book.end_ns - now_ns),
            min(now_ns - guard._book._sensor_time_ns, 101 * MS),
            guard._book._sequence < 0,
            guard._driven,
            guard._dark_failed,
            bool(guard._refusal),
            max(0, guard._next_beat_ns - now_ns) if guard._driven else 0,
            guard._now_ns > now_ns,
            self.bench.pwm.broken,
            self.let_go,
            self.stepped_back,
            self.wanted,
            self.connected,
            self.level,
            max(0, self.lease_end_ns - now_ns),
        )

    def forked(self):
        twin = copy.copy(self)
        twin.bench = copy.deepcopy(self.bench)
        return twin


STEPS = (
    "connect",
    "vanish",
    "want_on",
    "want_nothing",
    "want_off",
    "frame",
    "same_frame_again",
    "frame_from_the_future",
    "look",
    "release",
    "press",
    "nonsense",
    "tick",
    "starved_tick",
    "clock_steps_back",
    "break_pwm",
    "mend_pwm",
)


def test_every_sequence_of_events_explored_breadth_first(make_bench):
    start = Explored(make_bench(ManualClock()))
    start.bench.log = None
    start.bench.guard._log = _Nowhere()
    seen = {start.key()}
    queue = deque([(start, ())])
    lit_nodes, trips_left, edges = 0, 0, 0
    while queue:
        node, path = queue.popleft()
        for step in STEPS:
            if step == "connect" and node.connected:
                continue  # the loop turns a second imager away
            if step == "clock_steps_back" and node.stepped_back:
                continue  # once a path: each further step only moves the same picture
            after = node.forked()
            after.bench.acts.clear()
            was_tripped, had_let_go = node.tripped, node.let_go
            try:
                getattr(after, step)()
                if step not in ("starved_tick", "break_pwm", "mend_pwm"):
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
    # the walk itself must have gone somewhere
    assert {key[0] for key in seen} == set(STATES)
    assert lit_nodes > 20
    assert trips_left > 5
    assert edges > 2000
    print(f"{len(seen)} states, {edges} steps, {lit_nodes} lit, {trips_left} trips left")


class _Nowhere:
    def __call__(self, line):
        pass

    def __deepcopy__(self, memo):
        return self


class Walk(RuleBasedStateMachine):
    """Random walks with random times and levels; hypothesis shrinks what breaks."""

    make_bench = None

    def __init__(self):
        super().__init__()
        self.it = Explored(type(self).make_bench(ManualClock()))
        self.was_tripped = False
        self.last = ""

    @rule(name=st.sampled_from([step for step in STEPS if step not in ("connect", "tick", "starved_tick")]))
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

    @rule(frames=st.integers(1, 30), every_ms=st.floats(1, 99))
    def film(self, frames, every_ms):
        for _ in range(frames):
            self._do("frame")
            self._do("pass_ms", every_ms)

    def _do(self, name, *values):
        self.was_tripped, let_go = self.it.tripped, self.it.let_go
        getattr(self.it, name)(*values)
        if name not in ("break_pwm", "mend_pwm"):
            self.it.bench.guard.turn()
        if self.was_tripped and not self.it.tripped:
            assert name == "press"
            assert let_go
        if not self.it.tripped:
            self.it.let_go = False
        self.last = name

    @invariant()
    def never_lit_without_every_condition(self):
        if self.last not in ("break_pwm", "mend_pwm"):
            self.it.check()

    @invariant()
    def lit_when_everything_is_true(self):
        """The other half: a guard that is always dark would pass all else."""
        if self.it.tripped or self.it.bench.pwm.broken or self.it.bench.guard._dark_failed:
            return
        if self.it.allowed():
            assert self.it.bench.shining


def test_random_walks(make_bench):
    from hypothesis.stateful import run_state_machine_as_test

    Walk.make_bench = make_bench
    run_state_machine_as_test(
        Walk, settings=hypothesis_settings(max_examples=150, stateful_step_count=40, deadline=None)
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


ALL_TRUE = {"now_ns": 10, "imager_connected": True, "lease_end_ns": 11, "wanted_on": True, "wanted_level": 0.5}
SPOILED = {
    "ring obeys": {"ring_obeys": False},
    "imager connected": {"imager_connected": False},
    "frames fresh": {"lease_end_ns": 10},
    "operator wants light": {"wanted_on": False},
    "level sane": {"wanted_level": 0.0},
}


def test_every_condition_alone_keeps_the_light_off_and_darkens_it():
    every = conditions(1.0)
    assert {one.name for one in every} == set(SPOILED), "a new condition needs its line here"
    assert event_for(Light("ready"), every, Facts(**ALL_TRUE)) == ("asked", "every condition holds")
    assert event_for(Light("lit"), every, Facts(**ALL_TRUE)) is None
    for one in every:
        facts = Facts(**{**ALL_TRUE, **SPOILED[one.name]})
        assert not one.holds(facts)
        asked = event_for(Light("ready"), every, facts)
        assert asked is None or asked[0] != "asked"
        event, reason = event_for(Light("lit"), every, facts)
        assert event == ("fault" if one.trips else "not asked")
        assert reason == one.sentence(facts) != ""


@pytest.mark.parametrize("level", [0.0, -0.1, 0.61, float("nan")])
def test_a_level_outside_the_settings_is_not_lit(level):
    (sane,) = [one for one in conditions(0.6) if one.name == "level sane"]
    assert not sane.holds(Facts(**{**ALL_TRUE, "wanted_level": level}))
    assert "0.6" in sane.sentence(Facts(**{**ALL_TRUE, "wanted_level": level}))
