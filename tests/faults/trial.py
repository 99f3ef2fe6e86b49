"""One trial: light, blow, dark; then whether the dark stays, its reason stays, and the operator gets light again."""

import contextlib
import os
import random
import re
import time
from dataclasses import dataclass, field

from tests.faults import busy
from tests.faults.bench import Bench
from tests.faults.catalogue import Blow
from tests.faults.house import House
from tests.faults.recordings import checked_recording
from tests.faults.ring_watch import MS, Dark, patiently

Rig = Bench | House

BACK_WITHIN_S = 30.0
STAYS_DARK_S = 0.7
"""More than three repeats of a held finger."""

LIFTED_S = 0.1
"""No finger is quicker, and the puppet looks at its own once a frame."""

LET_GO_MS = 150.0
_TRIP = re.compile(r"light (\S+) -> (\S+): (.*)")


@dataclass
class Outcome:
    """What a trial found. ``took_ms`` from the first fault that must darken; None: the light went on, as it may."""

    number: int
    blow: Blow
    bound_ms: float | None = None
    took_ms: float | None = None
    seen_ms: float | None = None
    by_dead_man: bool = False
    lit_at_it: bool = False
    let_go_ms: float | None = None
    back_s: float | None = None
    load: float = 0.0
    struck_ns: int = 0
    recording: str = ""
    lost_s: float | None = None
    helper_s: tuple[float, ...] = ()
    violations: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


class NeverLit(Exception):
    """The rig could not be lit, so that there was nothing to break."""


def tried(rig: Rig, blow: Blow, number: int, rng: random.Random) -> Outcome:
    """Run one trial. Raises NeverLit."""
    found = Outcome(number, blow)
    rig.revive()
    with contextlib.ExitStack() as lasting:
        recording = checked_recording(rig, blow, rng, found)
        _light(rig)
        busy.started(blow.condition, rig.pid("guard"), lasting)
        time.sleep(blow.lit_ms / 1000)
        log_before, helped_before = len(rig.log()), len(rig.helped_s)
        dark = _struck(rig, blow, rng, lasting, found)
        if not any(fault.relights for fault in blow.faults):
            _stays_dark_while_it_lasts(rig, dark, found)
    rig.revive()
    boot_is_over = not _found_each_other(rig, blow, log_before, found)
    _stays_dark(rig, None if any(fault.relights for fault in blow.faults) else dark, found)
    _keeps_its_reason(rig, blow, dark, log_before, found)
    found.helper_s = tuple(rig.helped_s[helped_before:])
    if found.helper_s and rig.tree is not None and rig.tree.pulsing():
        found.violations.append("the PWM still pulses after ExecStopPost")
    recording.check()
    if not boot_is_over:
        _comes_back(rig, blow.rest_s, found)
    found.load = os.getloadavg()[0]
    return found


def _light(rig: Rig) -> None:
    """Lit under a held finger; a busy machine may darken it again, and then it is tried anew."""
    for _ in range(12):
        if _pressed(rig):
            return
    raise NeverLit(f"not lit; status {rig.status()}; log {rig.log()[-600:]}")


def _pressed(rig: Rig) -> bool:
    """Lift, leave a trip, press and hold; whether that lit the ring."""
    rig.imager_up()
    rig.finger(False)
    time.sleep(LIFTED_S)
    patiently(lambda: (status := rig.status()) is not None and status["reachable"] and not status["wanted_on"], 5.0)
    if (rig.status() or {}).get("state") == "tripped":
        rig.rearm()
        patiently(lambda: (rig.status() or {}).get("state") != "tripped", 2.0)
    rig.finger(True)
    return patiently(rig.watch.lit, 2.0)


def _struck(rig: Rig, blow: Blow, rng: random.Random, lasting: contextlib.ExitStack, found: Outcome) -> Dark | None:
    struck_ns: list[int] = []
    for fault in blow.faults:
        if struck_ns:
            time.sleep(blow.apart_ms / 1000)
        struck_ns.append(fault.strike(rig, rng, lasting))
    found.struck_ns = struck_ns[0]
    must = [at for at, fault in zip(struck_ns, blow.faults, strict=True) if fault.bound_ms is not None]
    from_ns = min(must, default=struck_ns[0])
    found.bound_ms = blow.deadline_ms([at / MS for at in struck_ns])
    patience_s = 0.5 if found.bound_ms is None else found.bound_ms / 1000 + 2.0
    if not rig.watch.lit_at(from_ns):
        found.notes.append("dark before the fault that counts")
        found.bound_ms = None
        return None
    found.lit_at_it = True
    dark = rig.watch.dark_after(from_ns, patience_s)
    if dark is not None:
        found.took_ms, found.seen_ms = (dark.at_ns - from_ns) / MS, (dark.seen_ns - from_ns) / MS
        found.by_dead_man = dark.by_dead_man
    if found.bound_ms is not None and (found.took_ms is None or found.took_ms > found.bound_ms):
        found.violations.append(f"light for {found.took_ms or patience_s * 1000:.1f} ms, bound {found.bound_ms:.0f} ms")
    return dark


def _stays_dark_while_it_lasts(rig: Rig, dark: Dark | None, found: Outcome) -> None:
    if dark is not None and not patiently(lambda: rig.watch.lit_again_since(dark.seen_ns) is not None, 0.2):
        return
    if dark is not None:
        found.violations.append("lit again by itself while the fault lasted")


def _found_each_other(rig: Rig, blow: Blow, log_before: int, found: Outcome) -> bool:
    """Guard and imager; False where a guard refuses for good, as it should, the light that is written down in its future."""

    def refuses() -> bool:
        return blow.clock_jumps and "is no light that this boot can have seen" in rig.log()[log_before:]

    def reachable() -> bool:
        return (status := rig.status()) is not None and status["reachable"]

    if not patiently(lambda: reachable() or refuses(), BACK_WITHIN_S):
        found.violations.append("guard and imager did not find each other again")
    if refuses():
        found.notes.append("the guard that came after refuses the light written down in its future, and stays dark")
        return False
    return True


def _stays_dark(rig: Rig, dark: Dark | None, found: Outcome) -> None:
    """With the finger still down, and everything mended and back."""
    if dark is None:
        return
    patiently(lambda: rig.watch.lit_again_since(dark.seen_ns) is not None, STAYS_DARK_S)
    again_ns = rig.watch.lit_again_since(dark.seen_ns)
    if again_ns is not None and not any("lit again" in one for one in found.violations):
        found.violations.append(f"lit again by itself {(again_ns - dark.at_ns) / MS:.0f} ms after the dark")


def _keeps_its_reason(rig: Rig, blow: Blow, dark: Dark | None, log_before: int, found: Outcome) -> None:
    log = rig.log()
    said = log[log_before:] if len(log) >= log_before else log
    steps = _TRIP.findall(said)
    trips = [reason for _before, after, reason in steps if after == "tripped"]
    status = rig.status() or {}
    first = next((reason for _, after, reason in _TRIP.findall(_newest_guard(said)) if after == "tripped"), "")
    if status.get("state") == "tripped" and first and status["reason"] != " ".join(first.split())[:400]:
        found.violations.append(f"the reason became {status['reason']!r}, it was {first!r}")
    if dark is not None and len(blow.faults) == 1 and blow.faults[0].latches and not trips:
        found.violations.append(f"not latched: {status.get('state')}, {steps[-3:]}")


def _newest_guard(said: str) -> str:
    """The part of it that the newest guard said: the first thing each one says is which priority it was granted."""
    return said[said.rfind(" priority") + 1 :]


def _comes_back(rig: Rig, rest_s: float, found: Outcome) -> None:
    """The operator lifts, arms, waits for the rest that is asked for, and presses: light again; lifts: dark."""
    began_s = time.monotonic()
    if not patiently(lambda: _pressed(rig), BACK_WITHIN_S + rest_s):
        found.violations.append(f"no light again within {BACK_WITHIN_S + rest_s:.0f} s: {rig.status()}")
        return
    found.back_s = time.monotonic() - began_s
    lifted_ns = time.monotonic_ns()
    rig.finger(False)
    if not rig.watch.lit_at(lifted_ns):
        return
    dark = rig.watch.dark_after(lifted_ns, 3.0)
    found.let_go_ms = (dark.at_ns - lifted_ns) / MS if dark else 3000.0
    if found.let_go_ms > LET_GO_MS:
        found.violations.append(f"light for {found.let_go_ms:.0f} ms after the finger was lifted")
