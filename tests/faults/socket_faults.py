"""Strangers at the sockets, and an imager that lies."""

import contextlib
import random
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

from tests.faults.bench import ROOT
from tests.faults.fault import LEASE_AND_50_MS, Fault, Strike
from tests.faults.lies import Lie


def pestered(kind: str, address: Callable[[Any], object]) -> Strike:
    """A stranger, for up to two seconds."""

    def strike(rig: Any, rng: random.Random, lasting: contextlib.ExitStack) -> int:
        words = (kind, address(rig), rng.uniform(0.5, 2.0), rng.randrange(10**9))
        moment_ns = time.monotonic_ns()
        stranger = subprocess.Popen([sys.executable, "-m", "tests.faults.flood", *map(str, words)], cwd=ROOT)
        lasting.callback(stranger.wait)
        return moment_ns

    return strike


def told(lie: Lie) -> Strike:
    """The imager lies from its next frame on."""

    def strike(rig: Any, _rng: random.Random, _lasting: contextlib.ExitStack) -> int:
        moment_ns = time.monotonic_ns()
        rig.orders.give("lie", lie)
        return moment_ns

    return strike


def light_socket(rig: Any) -> object:
    return rig.run_dir / "light.sock"


def control_socket(rig: Any) -> object:
    return rig.run_dir / "control.sock"


def page(rig: Any) -> object:
    return rig.port


def pictures(rig: Any) -> object:
    return rig.port + 1


MERELY_DARK = (Lie.WANTS_LEVEL_NOTHING, Lie.RANDOM_FIELDS)
"""A level of nothing is off; so may be what chance writes."""

BOUNDS_MS = {Lie.FLOOD_BESIDE_LEASES: 1050.0, Lie.READS_NO_ANSWERS: None}
"""The guard counts messages by the second; an imager that is deaf does no harm."""


def _lie(lie: Lie) -> Fault:
    bound_ms = BOUNDS_MS.get(lie, LEASE_AND_50_MS)
    latches = bound_ms is not None and lie not in MERELY_DARK
    return Fault(
        f"imager {lie.name.lower().replace('_', ' ')}", "bench", told(lie), bound_ms, latches=latches, order="lie"
    )


FAULTS = (
    *(_lie(lie) for lie in Lie if lie is not Lie.NONE),
    Fault("garbage on light.sock", "bench", pestered("garbage", light_socket), None, weight=2),
    Fault("half-open on light.sock", "bench", pestered("half-open", light_socket), None),
    Fault("house: garbage on light.sock", "house", pestered("garbage", light_socket), None),
    Fault("house: half-open on light.sock", "house", pestered("half-open", light_socket), None),
    *(
        Fault(f"house: {kind} on control.sock", "house", pestered(kind, control_socket), None)
        for kind in ("garbage", "half-open", "long", "requests")
    ),
    *(
        Fault(f"house: {kind} on the {where.__name__}' port", "house", pestered(kind, where), None)
        for where in (page, pictures)
        for kind in ("garbage", "half-open", "requests")
    ),
)
