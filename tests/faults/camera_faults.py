"""A camera that goes wrong under the real imager."""

import contextlib
import random
import time
from typing import Any

from tests.faults.fault import Fault, Strike
from tests.faults.odd_camera import Broken


def broken(how: Broken) -> Strike:
    """From the next frame on."""

    def strike(rig: Any, _rng: random.Random, _lasting: contextlib.ExitStack) -> int:
        moment_ns = time.monotonic_ns()
        rig.orders.give("camera", how)
        return moment_ns

    return strike


FAULTS = tuple(
    Fault(f"house: camera {how.name.lower().replace('_', ' ')}", "house", broken(how), latches=True, order="camera")
    for how in Broken
    if how is not Broken.NOT
)
