"""One reading as it crosses from the process that reads to the guard: a few bytes, because some sensors speak often."""

import struct
from typing import NamedTuple

from device.light.sensors import NAMES, SensorName

_PACKET = struct.Struct("<Bqd")
PACKET_BYTES = _PACKET.size


class Reading(NamedTuple):
    """A sensor's value; ``at_ns`` is when its reading began, so that a slow one is as old as it is."""

    name: SensorName
    at_ns: int
    value: float


def packed(reading: Reading) -> bytes:
    """Reading as bytes."""
    return _PACKET.pack(NAMES.index(reading.name), reading.at_ns, reading.value)


def unpacked(data: bytes) -> Reading:
    """The reading in ``data``; raises ValueError for what ``packed`` did not make."""
    try:
        number, at_ns, value = _PACKET.unpack(data)
        return Reading(NAMES[number], at_ns, value)
    except (struct.error, IndexError):
        raise ValueError(f"not a reading: {data!r}") from None
