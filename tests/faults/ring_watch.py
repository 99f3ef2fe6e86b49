"""What the ring did, read from its own record, and when an eye outside the guard first saw it dark.

The record is written by the guard's process at the moment a pin changes, stamped with the true clock, whatever clock the guard
itself believes in; a guard that is dead or stopped writes nothing, and then the record is dark 250 ms after its last heartbeat,
as the hardware dead-man would make it. That last part is arithmetic, not hardware. ``seen_dark_ns`` is the check on the stamps: it
is when this process, looking every millisecond or as often as it is let, first found no light.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from device.light.simulated_ring import DROP_OUT_NS, RING_NAME, RingRecord, SimulatedRingReader

MS = 1_000_000


@dataclass(frozen=True)
class Dark:
    """When light that shone at the fault ended: by the record, and as seen. ``by_dead_man``: nobody switched it off."""

    at_ns: int
    seen_ns: int
    by_dead_man: bool


def patiently(holds: Callable[[], object], seconds: float) -> bool:
    """Whether ``holds()`` came true in time; looks a thousand times a second."""
    deadline = time.monotonic() + seconds
    while not holds():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.001)
    return True


class RingWatch:
    """Looks at one ring. ``also_lit`` is a second thing that must hold for light: the files of a PWM tree."""

    def __init__(self, run_dir: Path, also_lit: Callable[[], bool] = lambda: True) -> None:
        self._reader = SimulatedRingReader(run_dir / RING_NAME)
        self._also_lit = also_lit
        self._seen_dark_ns = 0

    def record(self) -> RingRecord:
        """The newest record, of which there must be one."""
        record = self._reader.record()
        assert record is not None, "no ring was ever there"
        return record

    def lit(self) -> bool:
        """Whether it shines now."""
        record = self._reader.record()
        return record is not None and record.level_at(time.monotonic_ns()) > 0 and self._also_lit()

    def lit_at(self, moment_ns: int) -> bool:
        """Whether it shone at a moment not long ago, as far as pins and heartbeat say."""
        return self.record().level_at(moment_ns) > 0

    def dark_after(self, moment_ns: int, seconds: float) -> Dark | None:
        """The last end of the light that shone at ``moment_ns``; None when it goes on for ``seconds`` and more."""
        self._seen_dark_ns = 0
        if not patiently(self._dark_for_good, seconds):
            return None
        seen_ns, record = self._seen_dark_ns, self.record()
        if record.level_at(seen_ns) > 0:  # the pins would let it through; the files do not
            return Dark(seen_ns, seen_ns, False)
        last = [change for change in record.changes if moment_ns < change.at_ns <= seen_ns][-1:]
        if last and last[0].level == 0:
            return Dark(last[0].at_ns, seen_ns, False)
        return Dark(record.heartbeat_ns + DROP_OUT_NS, seen_ns, True)

    def _dark_for_good(self) -> bool:
        """Whether it has been dark for some looks: a PWM that changes its period rests for an instant."""
        now_ns = time.monotonic_ns()
        if self.lit():
            self._seen_dark_ns = 0
            return False
        self._seen_dark_ns = self._seen_dark_ns or now_ns
        return now_ns - self._seen_dark_ns >= 5 * MS

    def lit_again_since(self, moment_ns: int) -> int | None:
        """When light came back after ``moment_ns``, None where it did not."""
        again = [change.at_ns for change in self.record().changes if change.level > 0 and change.at_ns > moment_ns]
        return again[0] if again and self._also_lit() else None

    def close(self) -> None:
        """Let the record go."""
        self._reader.close()
