"""Outputs of the board that fail: files of the PWM, pins. Something must want to write them: that is the second half of each."""

import contextlib
import random
import signal
import time
from typing import Any

from tests.faults.fault import LEASE_AND_50_MS, NO_HAND_LEFT_MS, Fault, Strike
from tests.faults.process_faults import sent
from tests.faults.pwm_tree import SETTINGS

ENABLE, HEARTBEAT = 1, 2


def act(rig: Any, which: str, rng: random.Random, lasting: contextlib.ExitStack) -> int:
    """What makes the guard write."""
    moment_ns = time.monotonic_ns()
    if which == "let go":
        rig.finger(False)
    elif which == "level":
        rig.step_level()
    elif which == "exposure":
        rig.set_exposure(rng.randint(4_000, 14_000))
    else:
        return sent("imager", signal.SIGKILL)(rig, rng, lasting)
    return moment_ns


def failing(how: str, names: tuple[str, ...], which: str, pins: int = 0) -> Strike:
    """Files ``names`` break in the way ``how`` (none where empty), ``pins`` refuse, and then the guard is made to write."""

    def strike(rig: Any, rng: random.Random, lasting: contextlib.ExitStack) -> int:
        rig.orders.give("pins", pins)
        for name in names if rig.tree.channel.is_dir() else ():  # a fault before may have taken it all away
            getattr(rig.tree, how)(name)
        return act(rig, which, rng, lasting)

    return strike


def _files(how: str, which: str) -> Fault:
    """One random file of the three breaks; where the guard need not write that file, light may go on."""

    def strike(rig: Any, rng: random.Random, lasting: contextlib.ExitStack) -> int:
        return failing(how, (rng.choice(SETTINGS),), which)(rig, rng, lasting)

    ends = which in ("let go", "imager killed")
    bound_ms = LEASE_AND_50_MS if ends else None
    return Fault(f"pwm file: {how}, {which}", "board", strike, bound_ms, relights=which == "exposure")


def _duty(how: str, which: str) -> Fault:
    strike = failing(how, ("duty_cycle",), which)
    return Fault(f"duty_cycle: {how}, {which}", "board", strike, relights=which == "exposure")


FAULTS = (
    *(
        _files(how, which)
        for how in ("directory", "full", "loop", "pipe", "garbage")
        for which in ("let go", "imager killed")
    ),
    *(_files(how, "exposure") for how in ("directory", "garbage")),
    *(_duty(how, which) for how in ("directory", "full", "loop", "pipe", "vanish") for which in ("level", "exposure")),
    Fault("enable pin refuses, let go", "board", failing("", (), "let go", ENABLE)),
    Fault("enable pin refuses, imager killed", "board", failing("", (), "imager killed", ENABLE)),
    Fault("heartbeat pin refuses", "board", failing("", (), "level", HEARTBEAT), latches=True),
    Fault("both pins refuse, imager killed", "board", failing("", (), "imager killed", ENABLE | HEARTBEAT)),
    Fault(
        "enable pin and every file refuse, let go",
        "board",
        failing("full", SETTINGS, "let go", ENABLE),
        NO_HAND_LEFT_MS,
    ),
    Fault(
        "both pins and every file refuse, imager killed",
        "board",
        failing("directory", SETTINGS, "imager killed", ENABLE | HEARTBEAT),
        NO_HAND_LEFT_MS,
    ),
)
