"""How long a verified frame keeps the light on, and which frames count. Pure.

A lease ends ``length`` after it *arrived*, where length is ``lease_ms``, or 1.5 frame intervals where frames are slower, never
over ``longest_lease_ms``. An old frame is worth less: the end is never later than length plus one frame interval after the
frame's readout *began* (a frame cannot be verified before it is read out, and readout takes at most one interval), nor later
than ``longest_lease_ms`` after it. So neither a queue of old frames nor a slow link lengthens light.
"""

from dataclasses import dataclass

from shared.protocol.light import Lease

INTERVALS_PER_LEASE = 1.5


@dataclass(frozen=True)
class LeaseTerms:
    """Lengths from the settings."""

    lease_ms: int = 100
    longest_lease_ms: int = 400

    def length_ns(self, frame_interval_us: float) -> int:
        """Length of a lease at this frame interval."""
        longest_ns = self.longest_lease_ms * 1_000_000
        return min(max(self.lease_ms * 1_000_000, int(INTERVALS_PER_LEASE * frame_interval_us * 1000)), longest_ns)

    def end_ns(self, lease: Lease, arrived_ns: int) -> int:
        """When a lease that arrived at ``arrived_ns`` ends."""
        length_ns = self.length_ns(lease.frame_interval_us)
        readout_ns = int(lease.frame_interval_us * 1000)
        after_readout_ns = min(length_ns + readout_ns, self.longest_lease_ms * 1_000_000)
        return min(arrived_ns + length_ns, lease.sensor_time_ns + after_readout_ns)


class LeaseBook:
    """Judges one frame after another; both ends of the link keep one."""

    def __init__(self, terms: LeaseTerms) -> None:
        self.terms = terms
        self.end_ns = 0
        self._sequence = -1
        self._sensor_time_ns = -1

    def renew(self, lease: Lease, now_ns: int) -> str:
        """Take the lease, or say in a sentence why this frame does not count (the old lease then runs on to its own end)."""
        if lease.sequence <= self._sequence:
            return f"frame {lease.sequence} came after frame {self._sequence}"
        if lease.sensor_time_ns <= self._sensor_time_ns:
            return f"the sensor's time did not advance at frame {lease.sequence}"
        if lease.sensor_time_ns > now_ns:
            return f"frame {lease.sequence} lies in the future"
        if now_ns - lease.sensor_time_ns > self.terms.length_ns(lease.frame_interval_us):
            return f"frame {lease.sequence} is older than a lease"
        self._sequence = lease.sequence
        self._sensor_time_ns = lease.sensor_time_ns
        self.end_ns = self.terms.end_ns(lease, now_ns)
        return ""

    def end(self) -> None:
        """End the lease now; the next frame must still advance."""
        self.end_ns = 0

    def drop(self) -> None:
        """End the lease; frames may be counted from the beginning again, but the sensor's time must still advance."""
        self.end_ns = 0
        self._sequence = -1
