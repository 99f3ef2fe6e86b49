"""``python -m tests.faults [--trials N] [--seed S]``: trials, their distribution, and every violation with what replays it.

A trial depends on its seed and number alone: ``--seed S --only NUMBER`` draws the same one again. ``--fault WORDS`` draws only
among faults whose name has these words. Exit 1 where a bound or an after-check was violated.
"""

import argparse
import os
import random
import signal
import statistics
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from tests.faults.catalogue import FAULTS, Blow, blow_with, drawn
from tests.faults.distribution import table
from tests.faults.fault import NotHere
from tests.faults.rigs import Rigs, rigs
from tests.faults.trial import NeverLit, Outcome, tried
from tests.perf.__main__ import machine

RESULTS = Path(__file__).with_name("results.md")
ORDER = ("bench", "board", "house")


def rng_of(seed: int, number: int) -> random.Random:
    """All chance of one trial."""
    return random.Random(f"{seed}/{number}")


def blow_of(seed: int, number: int, words: str = "") -> tuple[Blow, random.Random]:
    """What trial ``number`` does, and the chance that is left to it. Every fault comes first once, before chance chooses."""
    rng = rng_of(seed, number)
    known = [fault for fault in FAULTS if words in fault.name]
    if words:
        return blow_with(rng.choice(known), rng), rng
    return (blow_with(FAULTS[number], rng) if number < len(FAULTS) else drawn(rng)), rng


def run_one(kept: Rigs, seed: int, number: int, words: str) -> Outcome:
    """One trial; a rig that could not be lit, or broke, is made anew and the trial counted as a violation."""
    blow, rng = blow_of(seed, number, words)
    kind = blow.faults[0].rig
    try:
        found = tried(kept.of(kind), blow, number, rng)
    except (NeverLit, AssertionError, OSError) as error:
        found = Outcome(number, blow, violations=[f"{type(error).__name__}: {error}"])
    except NotHere as why:
        found = Outcome(number, blow, notes=[f"not here: {why}"])
    # A boot whose clock jumped is over: what it wrote down as given lies in the future of the next guard, who refuses it.
    if found.violations or blow.clock_jumps:
        kept.drop(kind)
    took = "went on" if found.took_ms is None else f"{found.took_ms:.1f} ms"
    marks = "".join(f"\n    VIOLATION: {one}" for one in found.violations) + "".join(
        f"\n    {one}" for one in found.notes
    )
    print(f"{number:4} {blow.full_name}: {took}{marks}", flush=True)
    return found


def main() -> int:
    """Run trials."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--trials", type=int, default=400)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--only", type=int, help="number of the one trial to run")
    parser.add_argument("--fault", default="", help="only faults with these words in their name")
    options = parser.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    numbers = [options.only] if options.only is not None else list(range(options.trials))
    numbers.sort(key=lambda number: ORDER.index(blow_of(options.seed, number, options.fault)[0].faults[0].rig))
    print(f"seed {options.seed}, {len(numbers)} trials; {come_first()}")
    began = time.monotonic()
    with rigs() as kept:
        outcomes = [run_one(kept, options.seed, number, options.fault) for number in numbers]
    text = report(outcomes, options.seed, time.monotonic() - began)
    print(text)
    if options.only is None and not options.fault:
        RESULTS.write_text(text)
    return 1 if any(one.violations for one in outcomes) else 0


def come_first() -> str:
    """Let this thread strike and look on time on a starved machine, without passing that on to what it starts."""
    try:
        os.sched_setscheduler(0, os.SCHED_RR | os.SCHED_RESET_ON_FORK, os.sched_param(5))
    except OSError as error:
        return f"the trial itself has no priority ({error.strerror}), so blows and looks may be late"
    return "blows and looks have real-time priority 5"


def report(outcomes: list[Outcome], seed: int, took_s: float) -> str:
    """The page of results."""
    when = datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")
    loads = sorted(one.load for one in outcomes if one.load)
    load = f"load {loads[0]:.1f} to {loads[-1]:.1f}, median {statistics.median(loads):.1f}" if loads else "load unknown"
    bad = [
        f"- `--seed {seed} --only {one.number}`: {one.blow.full_name}: {line}"
        for one in outcomes
        for line in one.violations
    ]
    return "\n".join(
        [
            f"# Faults of {when}",
            "",
            f"{machine()}, {os.cpu_count()} cores, {load}; {took_s / 60:.0f} minutes, seed {seed}."
            f" Made by `make faults`; {priority()}.",
            "",
            table(outcomes),
            "",
            "Violations:" if bad else "No violations.",
            *bad,
            "",
        ]
    )


def priority() -> str:
    """What the guard of these trials was granted, by its own words, asked of a process like it."""
    import subprocess

    ask = "from device.light.service import ask_for_priority; print(ask_for_priority())"
    said = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True).stdout.strip()
    return f"the guard has {said}"


if __name__ == "__main__":
    sys.exit(main())
