"""A guard that events happen to, and beside it an oracle that keeps its own account of what would have to be true for light.

The oracle is written from the issue's words and shares no code with the guard.
"""

import copy
import math

from device.light.sensors.packet import Reading
from shared.protocol.light import Lease, Look, Rearm, Want

MS = 1_000_000
TICK_MS = 20  # the reduced clock: a fifth of the lease
SILENT_MS = 60
LONGEST_LIT_MS, REST_MS = 70, 35  # no whole number of heartbeats, which would wake the guard in time by chance

FINE, BETWEEN, BEYOND = "fine", "between", "beyond"
VALUES = {
    "LED temperature": {FINE: 50.0, BETWEEN: 58.0, BEYOND: 60.5},  # limit 60, again from 55
    "supply": {FINE: 5.0, BETWEEN: 4.85, BEYOND: 4.79},  # 4.8, again from 4.9
    "cover": {FINE: 1.0, BEYOND: 0.0},
    "distance": {FINE: 200.0, BETWEEN: 110.0, BEYOND: 99.0},  # 100, again from 120
}


class Watched:
    """What the oracle knows of one sensor."""

    def __init__(self):
        self.good, self.until_ns = False, 0

    def hear(self, how, now_ns):
        if now_ns >= self.until_ns:
            self.good = False
        self.good = {FINE: True, BETWEEN: self.good, BEYOND: False}[how]
        self.until_ns = now_ns + SILENT_MS * MS


class Explored:
    """The names of the events are what a failing sequence is printed with."""

    def __init__(self, bench, sensors=()):
        self.bench = bench
        self.sequence = 0
        self.connected = False
        self.wanted = False
        self.level = 0.0
        self.lease_end_ns = 0
        self.last_sensor_ns = 0
        self.exposures = []
        self.seen_lit = False
        self.watched = {name: Watched() for name in sensors}
        self.budget_ms = math.inf
        self.used_ms, self.resting, self.counted_ns = 0.0, False, bench.clock.now_ns()
        self.let_go = False
        self.stepped_back = False

    # ---- events -----------------------------------------------------------------------------------------------------

    def connect(self):
        self.connected = True
        self._forget()
        self.bench.guard.imager_came()

    def vanish(self):
        self.connected = False
        self.bench.guard.imager_left()
        self._forget()

    def _forget(self):
        self.wanted, self.level, self.lease_end_ns, self.exposures, self.seen_lit = False, 0.0, 0, [], False

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

    def frame(self, exposure_us=15_000.0, seen="unclear", age_ns=0):
        if not self.connected:
            return None
        self.sequence += 1
        now_ns = self.bench.clock.now_ns()
        if self.last_sensor_ns < now_ns - age_ns:
            self.last_sensor_ns = now_ns - age_ns
            self.lease_end_ns = now_ns + self.bench.settings.lease_ms * MS
            self.exposures = [*self.exposures, exposure_us][-3:]
            if seen != "unclear":
                self._tell(seen)
        return self._send(Lease(self.sequence, now_ns - age_ns, 20_000.0, exposure_us, seen))

    def _tell(self, seen):
        self.seen_lit = seen == "lit though dark"
        if self.seen_lit:
            self.wanted = self.let_go = False

    def frames(self):
        """A burst that locks the exposure, the last frame being this very moment's."""
        for age_ns in (2000, 1000, 0):
            self.frame(age_ns=age_ns)

    def frame_of_another_exposure(self):
        self.frame(exposure_us=7_000.0)

    def frame_that_saw_the_ring_in_the_dark(self):
        self.frame(seen="lit though dark")

    def frame_that_agrees(self):
        self.frame(seen="agrees")

    def frame_that_saw_no_light(self):
        self.frame(seen="dark though lit")

    def same_frame_again(self):
        return self._send(Lease(self.sequence, max(0, self.last_sensor_ns), 20_000.0, 15_000.0))

    def frame_from_the_future(self):
        return self._send(Lease(self.sequence + 1, self.bench.clock.now_ns() + 1, 20_000.0, 15_000.0))

    def look(self):
        return self._send(Look(conditions=True))

    def release(self):
        self.let_go = self.let_go or (self.connected and self.tripped and not self.wanted)
        if self.connected and self.tripped:
            self.seen_lit = False
        return self._send(Rearm("release"))

    def press(self):
        if self.connected and self.tripped:
            self.seen_lit = False
        return self._send(Rearm("press"))

    def nonsense(self):
        self.let_go = False
        self.wanted = False
        self.bench.guard.fault("nonsense")

    def sense(self, name, how):
        now_ns = self.bench.clock.now_ns()
        self.bench.guard.sense(Reading(name, now_ns, VALUES[name][how]))
        self.watched[name].hear(how, now_ns)

    def sense_fine(self):
        for name in self.watched:
            self.sense(name, FINE)

    def sense_between(self):
        for name in self.watched:
            if BETWEEN in VALUES[name]:
                self.sense(name, BETWEEN)

    def sense_beyond(self):
        for name in self.watched:
            self.sense(name, BEYOND)

    def budget_is_plenty(self):
        self._budget(60_000.0)

    def budget_is_small(self):
        """Enough to go on for a moment, too little to begin."""
        self._budget(30.0)

    def _budget(self, milliseconds):
        self.bench.guard.turn()
        self.budget_ms, self.bench.allowance.left = milliseconds, round(milliseconds * MS)

    def tick(self):
        """One tick, with the loop's timer honoured."""
        self.pass_ms(TICK_MS)

    def pass_ms(self, milliseconds):
        end_ns = self.bench.clock.now_ns() + round(milliseconds * MS)
        while (due_ns := self.bench.guard.due_ns()) is not None and due_ns <= end_ns:
            self._on_time_at(max(due_ns, self.bench.clock.time_ns))
            self.bench.guard.turn()
            self.check()
        self._on_time_at(end_ns)

    def _on_time_at(self, time_ns):
        """Move the clock as the loop would: no light may outlast anything that ends on the way."""
        if self.bench.shining and time_ns > self.bench.clock.time_ns:
            ends_ns = [self.lease_end_ns, *(one.until_ns for one in self.watched.values())]
            if self.timed:
                ends_ns.append(self.counted_ns + round((LONGEST_LIT_MS - self.used_ms) * MS))
            if self.budget_ms < math.inf:
                ends_ns.append(self.counted_ns + round(self.budget_ms * MS))
            assert time_ns <= min(ends_ns) + 2, "lit beyond an end"
        self._at(time_ns)

    def starved_tick(self):
        """A tick in which the guard got no turn at all."""
        self._at(self.bench.clock.time_ns + TICK_MS * MS)

    def _at(self, time_ns):
        """Move the clock; the oracle counts what really shone, or counted as shining for a guard that had no turn."""
        self.bench.clock.time_ns = time_ns
        passed_ms, self.counted_ns = (time_ns - self.counted_ns) / MS, time_ns
        if self.bench.guard.light.state == "lit" or self.bench.guard._dark_failed:
            self.used_ms = min(self.used_ms + passed_ms, LONGEST_LIT_MS)
            self.resting = self.resting or self.used_ms >= LONGEST_LIT_MS
        else:
            self.used_ms = max(0.0, self.used_ms - passed_ms * LONGEST_LIT_MS / REST_MS)
            self.resting = self.resting and self.used_ms > 1e-4
        if self.bench.guard._level > 0:
            self.budget_ms = max(0.0, self.budget_ms - passed_ms)

    def clock_steps_back(self):
        self.let_go = self.wanted = False
        self.lease_end_ns = 0
        self.watched = {name: Watched() for name in self.watched}
        self.stepped_back = True
        # against what the guard saw: it cannot know more
        self.bench.clock.time_ns = self.counted_ns = self.bench.guard._now_ns - TICK_MS * MS
        self.bench.guard.turn()

    def break_pwm(self):
        self.bench.pwm.broken = True

    def mend_pwm(self):
        self.bench.pwm.broken = False

    def _send(self, message):
        return self.bench.guard.take(message) if self.connected else None

    # ---- the oracle -------------------------------------------------------------------------------------------------

    @property
    def tripped(self):
        return self.bench.guard.light.latched

    @property
    def rests(self):
        """Only where the settings are those of the exploration: else the limit is minutes away."""
        return self.bench.settings.longest_lit_s * 1000 == LONGEST_LIT_MS and self.resting

    def allowed(self):
        """The issue's conditions."""
        now_ns = self.bench.clock.now_ns()
        locked = len(self.exposures) == 3 and len(set(self.exposures)) == 1
        sensors = all(one.good and now_ns < one.until_ns for one in self.watched.values())
        asked = self.connected and self.wanted and 0 < self.level <= 1
        within = not self.rests and self.budget_ms > (0 if self.bench.shining else 10_000)
        return asked and now_ns < self.lease_end_ns and locked and sensors and within and not self.seen_lit

    def check(self):
        """After the guard had a turn: no light unless everything is true, and the state says what the ring does."""
        assert self.bench.guard.light.state == "lit" or not self.bench.shining
        if self.bench.shining:
            assert self.allowed()
        if self.tripped:  # a trip takes the wish back
            self.wanted = self.wanted and self.bench.guard.status(self.bench.clock.now_ns()).wanted_on

    def key(self):
        """Everything that may make a difference later."""
        guard, now_ns = self.bench.guard, self.bench.clock.now_ns()
        sensed = guard._sensed.values()
        return (
            guard.light.state,
            guard._connected,
            guard._wanted_on,
            guard._wanted_level,
            max(0, guard._book.end_ns - now_ns),
            min(now_ns - guard._book._sensor_time_ns, MS),  # all that matters is whether a frame of now would advance
            guard._book._sequence < 0,
            guard._driven,
            guard._dark_failed,
            bool(guard._refusal),
            max(0, guard._next_beat_ns - now_ns) if guard._driven else 0,
            guard._now_ns > now_ns,
            guard._same_exposures,
            guard._exposure_us if guard._same_exposures else 0,
            guard._seen,
            *((one.value, one.within, min(now_ns - one.at_ns, (SILENT_MS + 1) * MS)) for one in sensed),
            *((guard._on_time.used_ns, guard._on_time.resting) if self.timed else ()),
            self.bench.allowance.left if self.budget_ms < 10_000 else None,
            self.budget_ms < 10_000,
            self.bench.pwm.broken,
            self.let_go,
            self.stepped_back,
            self.wanted,
            self.connected,
            self.level,
            max(0, self.lease_end_ns - now_ns),
            *self.exposures,
            self.seen_lit,
            *((one.good, max(0, one.until_ns - now_ns)) for one in self.watched.values()),
        )

    @property
    def timed(self):
        return self.bench.settings.longest_lit_s * 1000 == LONGEST_LIT_MS

    def forked(self):
        twin = copy.copy(self)
        guard = self.bench.guard
        unchanging = (guard._conditions, guard._limits, guard._book.terms, self.bench.settings)
        memo = {id(one): one for one in unchanging}
        twin.bench, twin.watched = copy.deepcopy((self.bench, self.watched), memo)
        return twin
