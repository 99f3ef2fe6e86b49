"""The guard's mind: messages and time in, states and light out. Single-threaded; knows no socket.

Every way in looks at the clock and settles the state first, so a lease that has ended is over before anything can renew it.
Dark comes before words: the lamp obeys, then the step is logged.
"""

from collections.abc import Callable, Sequence

from device.light.allowance import Allowance
from device.light.condition import Condition, Facts, ends_ns, first_missing
from device.light.conditions import SAME_EXPOSURES, conditions
from device.light.given_light import Given
from device.light.lamp import Lamp, LampFailed
from device.light.lease import LeaseBook, LeaseTerms
from device.light.on_time import OnTime
from device.light.pwm import Pulses
from device.light.sensed import Sensed, limits, next_sensed
from device.light.sensors import SensorName
from device.light.sensors.packet import Reading
from device.light.states import Event, Light, Transition, event_for, stepped
from shared.clock import Clock
from shared.protocol.light import VERSION, ConditionState, Lease, LightStatus, Look, Rearm, Seen, Want
from shared.settings import LightSettings

BEAT_NS = 20_000_000
"""One heartbeat edge, while lit; the dead-man drops out after 250 ms without one."""

DARK_AGAIN_NS = 20_000_000
"""How soon a lamp that could not be switched off is tried again."""

SAME_US = 1.0
"""Exposures that differ by no more are the same: sensors report whole microseconds, rounded either way."""


class Guard:
    """Owner of the lamp. ``log`` gets one line for each step and each thing refused; ``allowance`` keeps the exposure limits.

    ``before`` is the light that guards before it gave in this boot.
    """

    def __init__(
        self,
        lamp: Lamp,
        settings: LightSettings,
        allowance: Allowance,
        clock: Clock,
        log: Callable[[str], None],
        before: Sequence[Given] = (),
    ) -> None:
        self._lamp, self._allowance, self._clock, self._log = lamp, allowance, clock, log
        self._conditions, self._limits = conditions(settings), limits(settings)
        self._pwm = settings.pwm
        self._book = LeaseBook(LeaseTerms(settings.lease_ms, settings.longest_lease_ms))
        self._now_ns = clock.now_ns()
        self.light = Light("off", self._now_ns)
        self._connected = False
        self._wanted_on, self._wanted_level = False, 0.0
        self._refusal = ""
        self._exposure_us, self._same_exposures = 0.0, 0
        self._seen: Seen = "unclear"
        self._sensed: dict[SensorName, Sensed] = {}
        self._on_time = OnTime(settings, before[0].start_ns if before else self._now_ns)
        for given in before:
            self._on_time.pass_to(given.start_ns, lit=False)
            self._on_time.pass_to(given.end_ns, lit=True)
        self._driven: tuple[float, float] | None = None  # (level, exposure_us) asked of the lamp; None: dark
        self._pulses: Pulses | None = None  # and what it made of that
        self._dark_failed = False
        self._level, self._level_since_ns = 0.0, self._now_ns
        self._lit_ns = 0
        self._next_beat_ns = 0

    # ---- what happens to the guard ----------------------------------------------------------------------------------

    def imager_came(self) -> None:
        """An imager connected. It starts with no lease and no wish."""
        self._meet(connected=True)

    def imager_left(self) -> None:
        """Its socket closed. If the light was lit, that was no goodbye."""
        self._meet(connected=False)

    def sense(self, reading: Reading) -> None:
        """A sensor said something."""
        now_ns = self.turn()
        limit = self._limits.get(reading.name)
        if limit is not None:
            if reading.name == "distance":
                self._allowance.measured(reading.value, now_ns)
            self._sensed[reading.name] = next_sensed(self._sensed.get(reading.name), reading, limit, now_ns)
            self._settle(now_ns)

    def take(self, message: Lease | Want | Rearm | Look) -> LightStatus:
        """Act on one message, and say how things stand."""
        known_trip, listed = self.light.latched, False
        now_ns = self.turn()
        match message:
            case Lease():
                self._renew(message, now_ns)
            case Want(on=on, level=level):
                self._wanted_on, self._wanted_level = on, level
            case Rearm(act=act):
                if known_trip:  # a trip found this very moment is one the operator cannot have answered
                    self._seen = "unclear"  # was an event and is answered; a ring that is still on will be seen again
                    self._step(act, now_ns, f"operator: {act}")
            case Look(version=version, conditions=listed):
                if version != VERSION:
                    self.fault(f"the imager speaks version {version} of the protocol, the guard {VERSION}")
        self._settle(now_ns)
        return self.status(now_ns, listed)

    def fault(self, reason: str) -> None:
        """Trip: dark at once, latched. In a trip, the first reason stays."""
        self._wanted_on = False
        self._step("fault", self._now_ns, reason)

    def turn(self) -> int:
        """Look at the clock, do what is due, and return the time. Called at least whenever ``due_ns`` has come."""
        now_ns = self._clock.now_ns()
        backwards_ns, self._now_ns = self._now_ns - now_ns, now_ns
        if backwards_ns > 0:
            # Their ends were reckoned on a clock that no longer counts.
            self._book.end()
            self._sensed.clear()
            self.fault(f"time ran backwards by {backwards_ns / 1e6:.3f} ms")
        self._on_time.pass_to(now_ns, lit=self.light.state == "lit" or self._dark_failed)
        self._allowance.pass_to(now_ns, self._level)
        self._settle(now_ns)
        if self._dark_failed:
            self._darken()
        if self._driven and now_ns >= self._next_beat_ns:
            self._beat(now_ns)
        return now_ns

    def due_ns(self) -> int | None:
        """When ``turn`` must be called next, if nothing else happens before."""
        if self._dark_failed:
            return self._now_ns + DARK_AGAIN_NS
        if self.light.state not in ("ready", "lit"):
            return None
        end_ns = ends_ns(self._conditions, self._facts(self._now_ns))
        if self.light.state == "ready":
            return end_ns
        return self._next_beat_ns if end_ns is None else min(end_ns, self._next_beat_ns)

    def status(self, now_ns: int, listed: bool = False) -> LightStatus:
        """What the imager is told, with the list of conditions where that is asked for."""
        running_ns = max(0, now_ns - self.light.since_ns) if self.light.state == "lit" else 0
        return LightStatus(
            state=self.light.shown_state,
            level=self._level,
            wanted_on=self._wanted_on,
            wanted_level=self._wanted_level,
            since_ns=self._level_since_ns,
            lease_left_ms=max(0, self._book.end_ns - now_ns) / 1e6,
            lit_seconds=(self._lit_ns + running_ns) / 1e9,
            reason=self._reason(now_ns)[:400],
            pwm=self._pwm,
            pulse_hz=self._pulses.hz if self._pulses else 0.0,
            ripple=self._pulses.ripple(self._exposure_us) if self._pulses else 0.0,
            conditions=self._listed(now_ns) if listed else (),
        )

    def close(self) -> None:
        """Dark, and the ring given back; may be called twice. Raises LampFailed."""
        self._driven = None
        self._lamp.close()

    # ---- how it decides ---------------------------------------------------------------------------------------------

    def _meet(self, connected: bool) -> None:
        now_ns = self.turn()
        self._connected = connected
        self._settle(now_ns)
        self._wanted_on, self._wanted_level = False, 0.0
        self._refusal, self._same_exposures, self._seen = "", 0, "unclear"
        self._book.drop()
        self._settle(now_ns)

    def _renew(self, lease: Lease, now_ns: int) -> None:
        refusal = self._book.renew(lease, now_ns)
        if refusal and not self._refusal:  # one line for a run of refused frames, not one each
            self._log(f"{now_ns / 1e9:.6f} lease refused: {refusal}")
        self._refusal = refusal
        if refusal:
            return
        if abs(lease.exposure_us - self._exposure_us) > SAME_US:
            self._exposure_us, self._same_exposures = lease.exposure_us, 0
        self._same_exposures = min(self._same_exposures + 1, SAME_EXPOSURES)
        if lease.seen not in ("unclear", self._seen):
            self._log(f"{now_ns / 1e9:.6f} camera: {lease.seen}")
            self._seen = lease.seen

    def _facts(self, now_ns: int) -> Facts:
        return Facts(
            now_ns=now_ns,
            imager_connected=self._connected,
            lease_end_ns=self._book.end_ns,
            wanted_on=self._wanted_on,
            wanted_level=self._wanted_level,
            on_time=self._on_time,
            allowance=self._allowance,
            same_exposures=self._same_exposures,
            lease_refusal=self._refusal,
            ring_obeys=not self._dark_failed,
            lit=self.light.state == "lit",
            seen=self._seen,
            sensed=self._sensed,
        )

    def _settle(self, now_ns: int) -> None:
        while (found := event_for(self.light, self._conditions, self._facts(now_ns))) is not None:
            event, reason = found
            if event == "fault":
                self.fault(reason)
            else:
                self._step(event, now_ns, reason)
        self._obey(now_ns)

    def _step(self, event: Event, now_ns: int, reason: str) -> None:
        was_lit_since_ns = self.light.since_ns if self.light.state == "lit" else now_ns
        self.light, step = stepped(self.light, event, now_ns, reason)
        if step is None:
            return
        self._lit_ns += max(0, now_ns - was_lit_since_ns)
        self._obey(now_ns)
        self._log(_line(step))

    def _obey(self, now_ns: int) -> None:
        if self.light.state != "lit":
            if self._driven is not None:
                self._darken()
            return
        wanted = (self._wanted_level, self._exposure_us)
        if self._driven == wanted:
            return
        relit = self._driven is None
        self._driven = wanted
        try:
            self._pulses = self._lamp.light(*wanted)
        except LampFailed as error:
            self.fault(f"the light output failed: {error}")
            return
        self._now_at_level(self._pulses.level)
        if relit:
            self._beat(now_ns)

    def _darken(self) -> None:
        self._driven = None
        try:
            self._lamp.dark()
        except LampFailed as error:
            # No more beats from here on, so the hardware dead-man darkens what we could not.
            if not self._dark_failed:
                self._dark_failed = True
                self.fault(f"the light output failed: {error}")
                self._log(f"{self._now_ns / 1e9:.6f} {error}; trying again, and the heartbeat has stopped")
            return
        self._dark_failed = False
        self._pulses = None
        self._now_at_level(0.0)

    def _beat(self, now_ns: int) -> None:
        self._next_beat_ns = now_ns + BEAT_NS
        try:
            self._lamp.beat()
        except LampFailed as error:
            self.fault(str(error))

    def _now_at_level(self, level: float) -> None:
        if level != self._level:
            self._level, self._level_since_ns = level, self._clock.now_ns()

    def _listed(self, now_ns: int) -> tuple[ConditionState, ...]:
        facts = self._facts(now_ns)
        return tuple(_condition_state(condition, facts) for condition in self._conditions)

    def _reason(self, now_ns: int) -> str:
        if self.light.latched:
            return self.light.trip_reason
        if self.light.state == "lit" or not self._wanted_on:
            return ""
        facts = self._facts(now_ns)
        missing = first_missing(self._conditions, facts)
        return missing.sentence(facts) if missing else ""


def _condition_state(condition: Condition, facts: Facts) -> ConditionState:
    holds = condition.holds(facts)
    value = condition.value(facts)
    return ConditionState(
        name=condition.name,
        state="absent" if condition.absent else "holds" if holds else "missing",
        sentence="" if holds and not condition.absent else condition.sentence(facts),
        value=None if value is None else round(value, 3),
        limit=condition.limit,
        unit=condition.unit,
    )


def _line(step: Transition) -> str:
    return f"{step.at_ns / 1e9:.6f} light {step.before} -> {step.after}: {step.reason}"
