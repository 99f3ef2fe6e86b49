"""All faults, and how one trial is drawn from them."""

import random
from dataclasses import dataclass

from tests.faults import camera_faults, clock_faults, output_faults, process_faults, sensor_faults, socket_faults
from tests.faults.busy import CONDITIONS
from tests.faults.fault import DEAD_MAN_MS, Fault

FAULTS: tuple[Fault, ...] = (
    *process_faults.FAULTS,
    *socket_faults.FAULTS,
    *clock_faults.FAULTS,
    *camera_faults.FAULTS,
    *output_faults.FAULTS,
    *sensor_faults.FAULTS,
)

TWO_AT_ONCE = 0.2
STARVED = 0.2


@dataclass(frozen=True)
class Blow:
    """What one trial does: faults, the second ``apart_ms`` after the first, while the machine is in a ``condition``."""

    faults: tuple[Fault, ...]
    apart_ms: float
    condition: str
    lit_ms: float

    @property
    def name(self) -> str:
        """As the table has it."""
        if len(self.faults) > 1:
            return f"two at once ({self.faults[0].rig})"
        if self.condition:
            return f"any one while {self.condition} ({self.faults[0].rig})"
        return self.faults[0].name

    @property
    def is_plain_end_of_guard(self) -> bool:
        """Whether the guard is killed, and nothing else goes wrong."""
        return len(self.faults) == 1 and not self.condition and "guard killed" in self.faults[0].name

    @property
    def clock_jumps(self) -> bool:
        """Whether the guard's own clock does, as no kernel lets it: what a guard wrote down before may lie in the future."""
        return any(fault.order == "guard's clock" for fault in self.faults)

    @property
    def rest_s(self) -> float:
        """The pause that the guard may ask for afterwards."""
        return max(fault.rest_s for fault in self.faults)

    @property
    def full_name(self) -> str:
        """With everything that was drawn."""
        names = f" + {self.apart_ms:.0f} ms + ".join(fault.name for fault in self.faults)
        return f"{names} [{self.condition or 'quiet'}] after {self.lit_ms:.0f} ms of light"

    def deadline_ms(self, struck_ms: list[float]) -> float | None:
        """Latest end of the light, from the first fault that must end it; ``struck_ms`` has when each fault struck.

        A guard that ends leaves the rest to the dead-man; otherwise the first bound counts. Where one fault breaks an output and
        another wants it written, the wider bound of the two counts: which of them the guard met first cannot be told.
        """
        bounds = [(at, fault) for at, fault in zip(struck_ms, self.faults, strict=True) if fault.bound_ms is not None]
        if not bounds:
            return None
        survived = [at + (fault.bound_ms or 0.0) for at, fault in bounds if not fault.guard_ends]
        if any(fault.rig == "board" for fault in self.faults) and survived:
            survived = [max(survived)]
        ended = [at + max(DEAD_MAN_MS, fault.bound_ms or 0.0) for at, fault in bounds if fault.guard_ends]
        if len(self.faults) == 1:
            return bounds[0][1].bound_ms
        first = min(at for at, _ in bounds)
        stopped_early = [end for end in ended if not survived or end - DEAD_MAN_MS < min(survived)]
        return max([*stopped_early, *([min(survived)] if survived else [])]) - first


def drawn(rng: random.Random, rigs: tuple[str, ...] = ("bench", "board", "house")) -> Blow:
    """One blow at random."""
    known = [fault for fault in FAULTS if fault.rig in rigs]
    first = rng.choices(known, [fault.weight for fault in known])[0]
    return blow_with(first, rng)


def blow_with(first: Fault, rng: random.Random) -> Blow:
    """A blow that begins with ``first``."""
    faults = (first,)
    if rng.random() < TWO_AT_ONCE:
        fellows = [
            fault
            for fault in FAULTS
            if fault.rig == first.rig and fault is not first and (not fault.order or fault.order != first.order)
        ]
        faults = (first, rng.choices(fellows, [fault.weight for fault in fellows])[0])
    condition = rng.choice(CONDITIONS[1:]) if len(faults) == 1 and rng.random() < STARVED else ""
    return Blow(faults, rng.uniform(0, 150), condition, rng.uniform(0, 250))
