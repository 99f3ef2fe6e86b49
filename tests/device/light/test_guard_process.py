"""The real guard process, real imager processes, real signals. Times are those of the ring's own record.

Bounds from the issue: dark within 150 ms of the imager's death; lease (100 ms) and 50 ms for what the guard survives; 250 ms, the
dead-man's drop-out, for the guard's own death.
"""

import contextlib
import json
import os
import random
import select
import signal
import socket
import stat
import statistics
import subprocess
import sys
import time

import pytest

from device.light.conditions import SAME_EXPOSURES
from device.light.given_light import UNWRITTEN_NS, GivenLight

MS = 1_000_000
IMAGER_DEAD_NS = 150 * MS
LEASE_AND_50_NS = 150 * MS
DEAD_MAN_NS = 250 * MS
SLOW_US = 260_000.0  # leases of 390 ms, where the lease's end is not what is tested
random_ms = random.Random(7).uniform


def lit(guard, until, for_ms=0.0):
    """Wait until the ring has been lit ``for_ms``: heartbeats tell."""
    until(guard.lit_now, 20.0, "lit")
    start_ns = time.monotonic_ns()
    until(lambda: guard.record().heartbeat_ns > start_ns + for_ms * MS, 20.0, "still lit")


def fault(guard, process, number):
    moment_ns = time.monotonic_ns()
    process.send_signal(number)
    return guard.dark_after_ns(moment_ns)


def trials(wanted, one):
    """Times of ``wanted`` trials in which the ring was lit at the moment of the fault (a busy machine may darken it before)."""
    times_ns = []
    for _ in range(4 * wanted):
        times_ns.append(one())
        if sum(time_ns > 0 for time_ns in times_ns) == wanted:
            return [time_ns for time_ns in times_ns if time_ns]
    raise AssertionError(f"lit at the fault too seldom: {times_ns}")


def report(what, times_ns):
    ordered = sorted(one / MS for one in times_ns)
    print(f"\n{what}: n={len(ordered)} median={statistics.median(ordered):.1f} ms longest={ordered[-1]:.1f} ms")


def test_kill_9_of_the_imager_darkens_within_150_ms_and_latches(guard_process, wait_until):
    guard_process.start()

    def one():
        imager = guard_process.imager()
        lit(guard_process, wait_until, random_ms(0, 60))
        took_ns = fault(guard_process, imager, signal.SIGKILL)
        imager.wait(10)
        return took_ns

    times_ns = trials(20, one)
    report("kill -9 of the imager", times_ns)
    assert max(times_ns) <= IMAGER_DEAD_NS
    status = guard_process.link().want(False, 0.0)
    assert status.state == "tripped"
    assert "imager is not connected" in status.reason


def test_a_stopped_imager_darkens_at_the_lease_end(guard_process, wait_until):
    guard_process.start()

    def one():
        imager = guard_process.imager()
        lit(guard_process, wait_until, random_ms(0, 60))
        took_ns = fault(guard_process, imager, signal.SIGSTOP)
        imager.kill()
        imager.wait(10)
        return took_ns

    times_ns = trials(5, one)
    report("SIGSTOP of the imager", times_ns)
    assert max(times_ns) <= LEASE_AND_50_NS
    assert "frames stopped coming" in guard_process.log()


def test_kill_9_of_the_imager_on_a_starved_processor(guard_process, wait_until):
    guard_process.start()
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(2 * (os.cpu_count() or 1))]

    def one():
        imager = guard_process.imager()
        lit(guard_process, wait_until, random_ms(0, 30))
        took_ns = fault(guard_process, imager, signal.SIGKILL)
        imager.wait(10)
        return took_ns

    try:
        times_ns = trials(4, one)
    finally:
        for process in busy:
            process.kill()
            process.wait(10)
    report("kill -9 of the imager, processor starved", times_ns)
    assert max(times_ns) <= IMAGER_DEAD_NS


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_stopped_guard_leaves_dark_behind(guard_process, wait_until, number):

    def one():
        guard_process.start()
        imager = guard_process.imager()
        lit(guard_process, wait_until)
        took_ns = fault(guard_process, guard_process.process, number)
        assert guard_process.process.wait(10) == 0
        imager.kill()
        imager.wait(10)
        return took_ns

    (took_ns,) = trials(1, one)
    assert took_ns <= LEASE_AND_50_NS
    assert guard_process.record().changes[-1].level == 0, "dark was left to the dead-man"
    assert not guard_process.socket_path.exists()
    report(f"{number.name} of the guard", [took_ns])


def test_kill_9_of_the_guard_is_the_dead_mans_and_the_helper_makes_it_sure(guard_process, wait_until):
    guard_process.start()

    def one():
        imager = guard_process.imager()
        lit(guard_process, wait_until, random_ms(0, 40))
        took_ns = fault(guard_process, guard_process.process, signal.SIGKILL)
        guard_process.process.wait(10)
        imager.kill()
        imager.wait(10)
        guard_process.start()
        return took_ns

    times_ns = trials(5, one)
    report("kill -9 of the guard", times_ns)
    assert max(times_ns) <= DEAD_MAN_NS
    guard_process.imager()
    lit(guard_process, wait_until)
    guard_process.process.kill()
    guard_process.process.wait(10)
    for _ in range(2):
        assert subprocess.run(guard_process.command("--dark"), timeout=20).returncode == 0
        assert guard_process.record().changes[-1].level == 0


def test_what_a_killed_guard_gave_is_there_for_the_next_one(guard_process, wait_until):
    guard_process.start()
    imager = guard_process.imager()
    lit(guard_process, wait_until, 700)
    started_ns = guard_process.record().changes[-1].at_ns
    fault(guard_process, guard_process.process, signal.SIGKILL)
    given_ns = guard_process.record().heartbeat_ns - started_ns
    guard_process.process.wait(10)
    imager.kill()
    imager.wait(10)
    guard_process.start()
    book = GivenLight(guard_process.run_dir / "light.given", time.monotonic_ns())
    counted_ns = sum(
        light.end_ns - light.start_ns for light in book.before if light.start_ns >= started_ns - 50_000_000
    )
    book.close()
    assert given_ns <= counted_ns <= given_ns + UNWRITTEN_NS + 100_000_000


def test_a_guard_that_hangs_is_the_dead_mans_and_trips_when_it_wakes(guard_process, wait_until):
    guard_process.start()
    imager = guard_process.imager()
    lit(guard_process, wait_until)
    took_ns = fault(guard_process, guard_process.process, signal.SIGSTOP)
    assert took_ns <= DEAD_MAN_NS
    imager.send_signal(signal.SIGSTOP)  # else it would re-arm at once
    guard_process.process.send_signal(signal.SIGCONT)
    wait_until(lambda: "lit -> tripped" in guard_process.log())
    assert not guard_process.lit_now()
    report("SIGSTOP of the guard", [took_ns])


def test_the_helper_works_where_no_guard_ever_ran(guard_process):
    assert subprocess.run(guard_process.command("--dark"), timeout=20).returncode == 0
    assert not guard_process.lit_now()


def test_the_helper_leaves_a_living_guards_ring_alone_and_says_so(guard_process):
    guard_process.start()
    done = subprocess.run(guard_process.command("--dark"), timeout=20, capture_output=True, text=True)
    assert done.returncode == 2
    assert "another light guard runs" in done.stderr


def test_a_second_guard_is_refused(guard_process):
    guard_process.start()
    done = subprocess.run(guard_process.command(), timeout=20, capture_output=True, text=True)
    assert done.returncode == 2
    assert "another light guard runs" in done.stderr
    assert guard_process.answers()


@pytest.mark.parametrize("extra", ["[light]\nlease_ms = 9000\n", "[light]\nleese_ms = 100\n", "light = ["])
def test_wrong_settings_are_refused_in_one_line(guard_process, tmp_path, extra):
    override = tmp_path / "override.toml"
    override.write_text(extra)
    command = guard_process.command("--settings-override", str(override))
    done = subprocess.run(command, timeout=20, capture_output=True, text=True)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert str(override) in done.stderr


def test_off_the_board_the_real_guard_is_refused_in_one_line(tmp_path):
    command = [sys.executable, "-m", "device.light", "--run-dir", str(tmp_path), "--pwm-class", str(tmp_path)]
    done = subprocess.run(command, timeout=20, capture_output=True, text=True)
    assert done.returncode == 2
    assert "no PWM chip" in done.stderr.splitlines()[-1]


def test_the_socket_is_for_its_owner_and_group_alone(guard_process):
    guard_process.start()
    assert stat.S_IMODE(guard_process.socket_path.stat().st_mode) == 0o660


# ---- an imager that misbehaves: raw packets ---------------------------------------------------------------------------------


class RawImager:
    """An imager that sends what it is told to."""

    def __init__(self, path):
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self.socket.settimeout(5.0)
        self.socket.connect(str(path))
        self.sequence = 0

    def send(self, **message):
        self.socket.send(json.dumps(message).encode())
        return json.loads(self.socket.recv(65536))

    def lease(self, sensor_time_ns=None, sequence=None, interval_us=33_333.0):
        self.sequence += 1
        return self.send(
            kind="Lease",
            sequence=self.sequence if sequence is None else sequence,
            sensor_time_ns=sensor_time_ns or time.monotonic_ns(),
            frame_interval_us=interval_us,
            exposure_us=15000.0,
        )

    def light(self, interval_us=33_333.0):
        """Ask until it is lit: the sensors may not have answered yet, and an exposure is locked after some frames."""
        deadline = time.monotonic() + 20
        while time.monotonic() < deadline:
            self.send(kind="Want", on=False, level=0.5)
            self.send(kind="Rearm", act="release")
            self.send(kind="Rearm", act="press")
            self.send(kind="Want", on=True, level=0.5)
            for _ in range(SAME_EXPOSURES):
                status = self.lease(interval_us=interval_us)
            if status["state"] == "lit":
                return status
            select.select([], [], [], 0.002)
        raise AssertionError(f"not lit: {status['state']}, {status['reason']}")

    def closed_by_guard(self):
        with contextlib.suppress(ConnectionResetError, BrokenPipeError):
            while self.socket.recv(65536):
                pass
        return True


@pytest.fixture
def raw(guard_process):
    guard_process.start()
    imager = RawImager(guard_process.socket_path)
    yield imager
    imager.socket.close()


NONSENSE = {
    "not JSON": b"\x00\xff garbage",
    "no object": b"[1, 2]",
    "unknown kind": b'{"kind": "Brighter"}',
    "unknown key": b'{"kind": "Look", "verbose": true}',
    "level out of range": b'{"kind": "Want", "on": true, "level": 1.5}',
    "level not a number": b'{"kind": "Want", "on": true, "level": NaN}',
    "wrong type": b'{"kind": "Want", "on": "yes", "level": 0.5}',
    "too long": b'{"kind": "Look"' + b" " * 60_000 + b"}",
    "deep": b'{"kind":' + b"[" * 3_000 + b"]" * 500,
    "another version": b'{"kind": "Look", "version": 3}',
}


@pytest.mark.parametrize("packet", NONSENSE.values(), ids=NONSENSE.keys())
def test_nonsense_darkens_trips_and_ends_the_connection(guard_process, raw, packet):
    raw.light(SLOW_US)
    moment_ns = time.monotonic_ns()
    raw.socket.send(packet)
    assert guard_process.dark_after_ns(moment_ns) <= LEASE_AND_50_NS
    if b"version" not in packet:
        assert raw.closed_by_guard()
        raw.socket.close()
        status = guard_process.link().want(False, 0.0)
        assert (status.state, status.level) == ("tripped", 0.0)
        assert "nonsense" in status.reason


def test_a_flood_trips_and_the_guard_lives_on(guard_process, raw, wait_until):
    raw.light()
    moment_ns = time.monotonic_ns()
    with contextlib.suppress(BrokenPipeError, ConnectionResetError):
        for _ in range(100_000):
            raw.socket.send(b'{"kind":"Look"}')
            with contextlib.suppress(BlockingIOError):
                raw.socket.recv(65536, socket.MSG_DONTWAIT)
    assert guard_process.dark_after_ns(moment_ns) <= LEASE_AND_50_NS
    raw.socket.close()
    assert "many messages" in guard_process.log() or "frames stopped coming" in guard_process.log()
    wait_until(guard_process.answers, 5.0, "the guard answers again")


def test_an_imager_that_never_reads_its_answers_keeps_no_light(guard_process, raw):
    raw.light()
    moment_ns = time.monotonic_ns()
    raw.socket.setblocking(False)
    with contextlib.suppress(BlockingIOError, BrokenPipeError, ConnectionResetError):
        for _ in range(5_000):
            raw.socket.send(b'{"kind":"Look"}')
    assert guard_process.dark_after_ns(moment_ns) <= LEASE_AND_50_NS


@pytest.mark.parametrize("how", ["time stands", "time goes back", "sequence stands", "from the future", "too old"])
def test_frames_that_are_not_new_renew_nothing(guard_process, raw, wait_until, how):
    good_ns = 0

    def still_lit():  # a busy machine may let the first lease end
        nonlocal good_ns
        raw.light()
        good_ns = time.monotonic_ns()
        return raw.lease(good_ns)["state"] == "lit"

    wait_until(still_lit)
    made_ns = time.monotonic_ns()
    last_good, number = raw.sequence, 0

    def renewed_until_dark():
        nonlocal number
        number += 1
        sensor_ns = {
            "time stands": good_ns,
            "time goes back": good_ns - number * MS,
            "from the future": time.monotonic_ns() + 5_000 * MS,
            "too old": time.monotonic_ns() - 101 * MS,
        }.get(how, time.monotonic_ns())
        return raw.lease(sensor_ns, last_good if how == "sequence stands" else None)["level"] == 0

    wait_until(renewed_until_dark, 5.0, "dark")
    assert number > 1
    assert guard_process.dark_after_ns(made_ns) <= LEASE_AND_50_NS
    status = raw.send(kind="Look")
    assert status["state"] == "tripped"
    assert "frames stopped coming (" in status["reason"]


def test_a_second_imager_is_turned_away_and_the_first_keeps_its_light(guard_process, raw):
    raw.light(SLOW_US)
    second = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    with second:
        second.settimeout(5.0)
        second.connect(str(guard_process.socket_path))
        assert second.recv(100) == b""
    assert raw.lease(interval_us=SLOW_US)["state"] == "lit"


def test_off_darkens_without_a_trip_and_goodbye_too(guard_process, raw, wait_until):
    raw.light(SLOW_US)
    assert raw.send(kind="Want", on=False, level=0.5)["state"] == "ready"
    assert not guard_process.lit_now()
    raw.socket.close()
    wait_until(lambda: "ready -> off" in guard_process.log())
    link = guard_process.link()
    assert link.want(False, 0.5).state == "off"
