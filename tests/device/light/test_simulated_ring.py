import inspect
import random
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device.camera.source import LightSeen
from device.light.pins import output_pin
from device.light.simulated_pins import simulated_factory
from device.light.simulated_ring import DROP_OUT_NS, Change, RingRecord, SimulatedRing, SimulatedRingReader
from tests.conftest import ManualClock

MS = 1_000_000


@pytest.fixture
def ring(tmp_path, manual_clock):
    ring = SimulatedRing(tmp_path / "ring", manual_clock)
    yield ring
    ring.close()


@pytest.fixture
def seen(tmp_path):
    reader = SimulatedRingReader(tmp_path / "ring")
    yield reader
    reader.close()


def light(ring, duty=0.5):
    ring.set(50_000, round(duty * 50_000))
    ring.enable(True)
    ring.beat()


def test_the_reader_is_what_a_camera_expects():
    assert inspect.signature(SimulatedRingReader.over) == inspect.signature(LightSeen.over)


def test_no_ring_is_dark(tmp_path):
    reader = SimulatedRingReader(tmp_path / "none")
    assert reader.record() is None
    assert reader.over(0, 10**18) == 0.0


def test_light_needs_pulses_enable_and_a_heartbeat(ring, seen, manual_clock):
    now = manual_clock.now_ns()
    for act in (lambda: ring.set(100, 50), lambda: ring.enable(True)):
        act()
        assert seen.record().level_at(now) == 0.0
    ring.beat()
    assert seen.record().level_at(now) == 0.5
    ring.enable(False)
    assert seen.record().level_at(now) == 0.0


def test_mean_level_is_exact_across_changes(ring, seen, manual_clock):
    manual_clock.advance_ms(5)
    light(ring, 0.5)  # dark 5 ms, 0.5 for 10 ms, 0.25 for 5 ms, dark 5 ms
    manual_clock.advance_ms(10)
    ring.set(50_000, 12_500)
    manual_clock.advance_ms(5)
    ring.off()
    manual_clock.advance_ms(5)
    now = manual_clock.now_ns()
    assert seen.over(now - 25 * MS, now) == pytest.approx((0.5 * 10 + 0.25 * 5) / 25, rel=1e-12)
    assert seen.over(now - 12 * MS, now - 7 * MS) == pytest.approx((0.5 * 2 + 0.25 * 3) / 5, rel=1e-12)
    assert seen.over(now - 3 * MS, now) == 0.0
    assert seen.over(now - 8 * MS, now - 8 * MS) == 0.25


@given(
    steps=st.lists(st.tuples(st.integers(1, 50), st.sampled_from([0.0, 0.2, 0.4, 1.0])), min_size=1, max_size=20),
    start=st.integers(0, 400),
    length=st.integers(1, 400),
    heartbeat=st.integers(0, 800),
)
def test_mean_level_equals_the_sum_over_every_nanosecond(steps, start, length, heartbeat):
    changes, at = [], 0
    for wait, level in steps:
        at += wait
        changes.append(Change(at, level))
    record = RingRecord(1, heartbeat - DROP_OUT_NS, tuple(changes))
    summed = sum(record.level_at(moment) for moment in range(start, start + length)) / length
    assert record.mean_level(start, start + length) == pytest.approx(summed, abs=1e-12)


def test_a_silent_heart_goes_dark_after_the_drop_out_and_not_before(ring, seen, manual_clock):
    light(ring)
    beat = manual_clock.now_ns()
    assert seen.record().level_at(beat + DROP_OUT_NS - 1) == 0.5
    assert seen.record().level_at(beat + DROP_OUT_NS) == 0.0
    assert seen.over(beat, beat + 2 * DROP_OUT_NS) == pytest.approx(0.25)


def test_a_heart_that_stood_still_leaves_its_dark_span_in_the_record(ring, seen, manual_clock):
    light(ring)
    beat = manual_clock.now_ns()
    manual_clock.advance_ms(1000)
    ring.beat()
    assert seen.record().changes[-2:] == (Change(beat + DROP_OUT_NS, 0.0), Change(beat + 1000 * MS, 0.5))
    assert seen.over(beat, beat + 1000 * MS) == pytest.approx(0.125)


def test_a_new_guard_takes_the_record_over_and_readers_keep_theirs(tmp_path, seen, manual_clock):
    path = tmp_path / "ring"
    dead = SimulatedRing(path, manual_clock)
    light(dead)
    killed = manual_clock.now_ns()
    assert seen.record().level_at(killed) == 0.5  # the reader has it open now
    manual_clock.advance_ms(100)
    heir = SimulatedRing(path, manual_clock)  # the first one never closed, as after kill -9
    assert seen.record().level_at(manual_clock.now_ns()) == 0.0
    assert seen.over(killed, manual_clock.now_ns()) == pytest.approx(0.5)
    heir.close()
    heir.close()
    dead.close()


def test_a_record_half_written_leaves_the_one_before(ring, seen, tmp_path, manual_clock):
    half = (tmp_path / "ring").stat().st_size // 2

    def tear(slot):
        with (tmp_path / "ring").open("r+b") as file:
            file.seek(slot * half + 20)
            file.write(b"\xff" * 300)

    light(ring)
    for _ in range(3):
        ring.beat()
        before = seen.record()
        tear((before.serial + 1) % 2)  # the slot the writer fills next
        assert seen.record() == before
    tear(before.serial % 2)
    assert seen.record() is None
    assert seen.over(0, manual_clock.now_ns()) == 0.0


def test_the_history_is_bounded(ring, seen, manual_clock):
    light(ring)
    for number in range(500):
        manual_clock.advance_ms(1)
        ring.set(50_000, 10_000 + number)
        ring.beat()
    assert len(seen.record().changes) == 64
    now = manual_clock.now_ns()
    assert seen.over(now - 20 * MS, now) > 0.2


WRITER = """
import sys
from pathlib import Path
from device.light.simulated_ring import SimulatedRing
from tests.conftest import ManualClock
clock = ManualClock(1_000_000_000)
ring = SimulatedRing(Path(sys.argv[1]), clock)
ring.enable(True)
print("going", flush=True)
number = 0
while True:
    clock.time_ns += 1000
    number += 1
    ring.beat()
    ring.set(1_000_000, number % 1_000_000)
"""


def test_no_read_is_ever_torn_under_load(tmp_path, wait_until):
    """The writer keeps (changed - 1 s) / 1000 = duty in millionths; any mixture of two records breaks that."""
    path = tmp_path / "ring"
    writer = subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE)
    reader = SimulatedRingReader(path)
    try:
        assert writer.stdout.readline() == b"going\n"
        wait_until(lambda: len(reader.record().changes) > 10)
        serials = set()
        for _ in range(5_000):
            record = reader.record()
            assert record is not None
            serials.add(record.serial)
            for change in record.changes:
                number = (change.at_ns - 1_000_000_000) // 1000
                assert round(change.level * 1_000_000) == number % 1_000_000
        assert len(serials) > 50
    finally:
        writer.kill()
        writer.wait(10)
        writer.stdout.close()
        reader.close()


def test_the_mock_pins_drive_the_ring_and_keep_no_history(ring, seen, manual_clock):
    factory = simulated_factory(ring, 17, 27)
    enable, heartbeat = output_pin(17, factory), output_pin(27, factory)
    ring.set(50_000, 20_000)
    enable.on()
    for _ in range(1000):
        manual_clock.advance_ms(20)
        heartbeat.toggle()
    assert seen.record().level_at(manual_clock.now_ns()) == 0.4
    assert len(factory.pin(27).states) == 1
    enable.close()
    assert seen.record().level_at(manual_clock.now_ns()) == 0.0
    heartbeat.close()
    factory.close()


def test_random_acts_against_a_ring_computed_by_hand(tmp_path):
    rng = random.Random(3)
    clock = ManualClock()
    ring = SimulatedRing(tmp_path / "ring", clock)
    reader = SimulatedRingReader(tmp_path / "ring")
    duty, enabled, beat, levels = 0.0, False, -DROP_OUT_NS, []
    for _ in range(60):
        act = rng.choice(["set", "off", "enable", "beat", "beat", "beat"])
        if act == "set":
            duty = rng.choice([0.25, 0.5])
            ring.set(1000, round(1000 * duty))
        elif act == "off":
            duty = 0.0
            ring.off()
        elif act == "enable":
            enabled = rng.random() < 0.8
            ring.enable(enabled)
        else:
            beat = clock.now_ns()
            ring.beat()
        for _ in range(rng.randint(1, 6)):
            levels.append((clock.now_ns(), duty if enabled and clock.now_ns() < beat + DROP_OUT_NS else 0.0))
            clock.advance_ms(20)
    record = reader.record()
    late = [pair for pair in levels if pair[0] >= record.changes[0].at_ns]
    assert len(late) > 50
    assert [(at, record.level_at(at)) for at, _ in late] == late
    ring.close()
    reader.close()
