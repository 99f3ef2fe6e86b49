"""What a fault is, and the bounds it is held to."""

import contextlib
import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

LEASE_AND_50_MS = 150.0
"""What the guard survives: a lease of 100 ms, which the frames of 30 a second of all trials have, and 50 ms."""

DEAD_MAN_MS = 250.0
"""What it does not survive: the drop-out of the hardware dead-man, counted from the fault. In simulation true by construction."""

NO_HAND_LEFT_MS = 300.0
"""Pins and files refuse all at once, so nothing that the guard does can darken: noticed with the next frame (50 ms), then the
dead-man's."""


class NotHere(Exception):
    """This machine does not let a fault happen; says why."""


Strike = Callable[[Any, random.Random, contextlib.ExitStack], int]
"""Hits a rig and returns the moment just before; what lasts is ended by the stack."""


@dataclass(frozen=True)
class Fault:
    """``bound_ms`` None: the light may go on (and whether it did is counted). ``latches``: the dark must be a trip afterwards.

    ``relights``: light may come back under the same finger: who changes the exposure has asked for the few dark frames.
    ``order``: what is ordered of an odd part; a second order of the same would only take the first one back. ``rest_s``: the pause
    that the guard may ask for afterwards, as to its clock the light lasted that long.
    """

    name: str
    rig: Literal["bench", "board", "house"]
    strike: Strike
    bound_ms: float | None = LEASE_AND_50_MS
    latches: bool = False
    guard_ends: bool = False
    relights: bool = False
    order: str = ""
    rest_s: float = 0.0
    weight: int = 1
