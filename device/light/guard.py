"""The guard's mind: messages and time in, states and light out. Single-threaded; knows no socket.

Every way in looks at the clock and settles the state first, so a lease that has ended is over before anything can renew it.
Dark comes before words: the lamp obeys, then the step is logged.
"""

from collections.abc import Callable

from device.light.conditions import Facts, conditions, first_missing
from device.light.lamp import Lamp, LampFailed
from device.light.lease import LeaseBook, LeaseTerms
from device.light.pwm import Pulses
from device.light.states import Event, Light, Transition, event_for, stepped
from shared.clock import Clock
from shared.protocol.light import VERSION, Lease, LightStatus, Look, Rearm, Want
from shared.settings import LightSettings

BEAT_NS = 20_000_000
"""One heartbeat edge, while lit; the dead-man drops out after 250 ms without one."""

DARK_AGAIN_NS = 20_000_000
"""How soon a lamp that could not be switched off is tried again."""


class Guard:
    """Owner of the lamp. ``log`` gets one line for each step and each thing refused."""

    def __init__(self, lamp: Lamp, settings: LightSettings, clock: Clock, log: Callable[[str], None]) -> None:
        self._lamp, self._clock, self._log = lamp, clock, log
        self._conditions = conditions(settings.levels[-1])
        self._pwm = settings.pwm
        self._book = LeaseBook(LeaseTerms(settings.lease_ms, settings.longest_lease_ms))
        self._now_ns = clock.now_ns()
        self.light = Light("off", self._now_ns)
        self._connected = False
        self._wanted_on, self._wanted_level = False, 0.0
        self._refusal = ""
        self._exposure_us = 0.0
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

    def take(self, message: Lease | Want | Rearm | Look) -> LightStatus:
        """Act on one message, and say how things stand."""
        known_trip = self.light.latched
        now_ns = self.turn()
        match message:
            case Lease():
                self._renew(message, now_ns)
            case Want(on=on, level=level):
                self._wanted_on, self._wanted_level = on, level
            case Rearm(act=act):
                if known_trip:  # a trip found this very moment is one the operator cannot have answered
                    self._step(act, now_ns, f"operator: {act}")
            case Look(version=version):
                if version != VERSION:
                    self.fault(f"the imager speaks version {version} of the protocol, the guard {VERSION}")
        self._settle(now_ns)
        return self.status(now_ns)

    def fault(self, reason: str) -> None:
        """Trip: dark at once, latched. In a trip, the first reason stays."""
        self._wanted_on = False
        self._step("fault", self._now_ns, reason)

    def turn(self) -> int:
        """Look at the clock, do what is due, and return the time. Called at least whenever ``due_ns`` has come."""
        now_ns = self._clock.now_ns()
        backwards_ns, self._now_ns = self._now_ns - now_ns, now_ns
        if backwards_ns > 0:
            self._book.end()  # its end was reckoned on a clock that no longer counts
            self.fault(f"time ran backwards by {backwards_ns / 1e6:.3f} ms")
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
        if self.light.state == "lit":
            return min(self._book.end_ns, self._next_beat_ns)
        return self._book.end_ns if self.light.state == "ready" else None

    def status(self, now_ns: int) -> LightStatus:
        """What the imager is told."""
        running_ns = now_ns - self.light.since_ns if self.light.state == "lit" else 0
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
        self._refusal = ""
        self._book.drop()
        self._settle(now_ns)

    def _renew(self, lease: Lease, now_ns: int) -> None:
        refusal = self._book.renew(lease, now_ns)
        if refusal and not self._refusal:  # one line for a run of refused frames, not one each
            self._log(f"{now_ns / 1e9:.6f} lease refused: {refusal}")
        self._refusal = refusal
        if not refusal:
            self._exposure_us = lease.exposure_us

    def _facts(self, now_ns: int) -> Facts:
        return Facts(
            now_ns=now_ns,
            imager_connected=self._connected,
            lease_end_ns=self._book.end_ns,
            wanted_on=self._wanted_on,
            wanted_level=self._wanted_level,
            lease_refusal=self._refusal,
            ring_obeys=not self._dark_failed,
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
        self._lit_ns += now_ns - was_lit_since_ns
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

    def _reason(self, now_ns: int) -> str:
        if self.light.latched:
            return self.light.trip_reason
        if self.light.state == "lit" or not self._wanted_on:
            return ""
        facts = self._facts(now_ns)
        missing = first_missing(self._conditions, facts)
        return missing.sentence(facts) if missing else ""


def _line(step: Transition) -> str:
    return f"{step.at_ns / 1e9:.6f} light {step.before} -> {step.after}: {step.reason}"
