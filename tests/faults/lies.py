"""What an imager may say to the guard that is not so, as packets."""

import enum
import json
import random
import time
from dataclasses import replace

from shared.protocol.light import Lease, Look, Want
from shared.protocol.wire import encoded


class Lie(enum.IntEnum):
    """Kinds, by number for the orders."""

    NONE = 0
    SAYS_NOTHING = 1
    REPLAYS_A_LEASE = 2
    STANDS_AT_A_SEQUENCE = 3
    COUNTS_BACK = 4
    STANDS_AT_A_TIME = 5
    SHOWS_OLD_FRAMES = 6
    SHOWS_FUTURE_FRAMES = 7
    CLAIMS_SLOW_OLD_FRAMES = 8
    WANTS_LEVEL_NOTHING = 9
    NOT_JSON = 10
    CUT_OFF = 11
    TOO_LONG = 12
    EMPTY = 13
    DEEP = 14
    LEVEL_IS_NAN = 15
    LEVEL_IS_INFINITE = 16
    LEVEL_IS_OVER_THE_LIMIT = 17
    LEASE_IS_INFINITE = 18
    RANDOM_FIELDS = 19
    FLOOD = 20
    ANOTHER_VERSION = 21
    SEES_LIGHT_THOUGH_DARK = 22
    FLOOD_BESIDE_LEASES = 23
    READS_NO_ANSWERS = 24


def packets(lie: Lie, honest: Lease, sequence: int, now_ns: int, rng: random.Random) -> list[bytes]:
    """What is sent in place of the lease of frame ``sequence``; ``honest`` is the last true one."""
    if lie.name in _NONSENSE:
        return [_NONSENSE[lie.name]]
    fresh = replace(honest, sequence=sequence, sensor_time_ns=now_ns)
    told: dict[Lie, list[bytes]] = {
        Lie.SAYS_NOTHING: [],
        Lie.REPLAYS_A_LEASE: [encoded(honest)],
        Lie.STANDS_AT_A_SEQUENCE: [encoded(replace(fresh, sequence=honest.sequence))],
        Lie.COUNTS_BACK: [encoded(replace(fresh, sequence=max(0, honest.sequence - rng.randint(1, 1000))))],
        Lie.STANDS_AT_A_TIME: [encoded(replace(fresh, sensor_time_ns=honest.sensor_time_ns))],
        Lie.SHOWS_OLD_FRAMES: [encoded(replace(fresh, sensor_time_ns=now_ns - rng.randint(101, 5000) * 1_000_000))],
        Lie.SHOWS_FUTURE_FRAMES: [
            encoded(replace(fresh, sensor_time_ns=now_ns + rng.randint(100, 10_000) * 1_000_000))
        ],
        Lie.CLAIMS_SLOW_OLD_FRAMES: [
            encoded(replace(fresh, sensor_time_ns=now_ns - 401_000_000, frame_interval_us=1e8)),
        ],
        Lie.WANTS_LEVEL_NOTHING: [encoded(Want(True, 0.0)), encoded(fresh)],
        Lie.FLOOD_BESIDE_LEASES: [encoded(fresh), *([encoded(Look())] * 400)],
        Lie.READS_NO_ANSWERS: [encoded(fresh)],
        Lie.SEES_LIGHT_THOUGH_DARK: [encoded(replace(fresh, seen="lit though dark"))],
        Lie.NOT_JSON: [rng.randbytes(rng.randint(1, 200))],
        Lie.CUT_OFF: [encoded(fresh)[: rng.randint(1, len(encoded(fresh)) - 1)]],
        Lie.RANDOM_FIELDS: [_random_fields(rng)],
        Lie.FLOOD: [encoded(Look())] * 2500,
    }
    return told[lie]


_NONSENSE = {
    "TOO_LONG": b'{"kind": "Look"' + b" " * 60_000 + b"}",
    "EMPTY": b"",
    "DEEP": b'{"kind":' + b"[" * 3_000 + b"]" * 500,
    "LEVEL_IS_NAN": b'{"kind": "Want", "on": true, "level": NaN}',
    "LEVEL_IS_INFINITE": b'{"kind": "Want", "on": true, "level": 1e999}',
    "LEVEL_IS_OVER_THE_LIMIT": b'{"kind": "Want", "on": true, "level": 1.5}',
    "LEASE_IS_INFINITE": b'{"kind": "Lease", "sequence": 4611686018427387903, "sensor_time_ns": %d,'
    b' "frame_interval_us": Infinity, "exposure_us": 15000.0}' % time.monotonic_ns(),
    "ANOTHER_VERSION": b'{"kind": "Look", "version": 99}',
}


def _random_fields(rng: random.Random) -> bytes:
    """An object of the right kind whose values are of any."""
    values = [None, True, -1, 2**70, 1e400, float("nan"), "on", [], {}, -0.0, "\ud800", 10**300]
    keys = {
        "Lease": ("sequence", "sensor_time_ns", "frame_interval_us", "exposure_us"),
        "Want": ("on", "level"),
        "Rearm": ("act",),
        "Look": ("version",),
    }
    kind = rng.choice(list(keys))
    return json.dumps({"kind": kind, **{key: rng.choice(values) for key in keys[kind]}}).encode()
