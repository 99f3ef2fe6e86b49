"""LightLink against a real guard process, and against a scripted socket where the guard must misbehave."""

import signal
import socket
import subprocess
import sys

import pytest

from device.light.link import LIT_AFTER_NS, SILENT_NS, LightLink
from shared.clock import SystemClock
from shared.errors import Refused
from shared.protocol.light import TO_GUARD, ConditionState, LightStatus, Look, Want
from shared.protocol.wire import decoded, encoded

MS = 1_000_000


class ScriptedGuard:
    """Takes what the link sends, and answers what the test says."""

    def __init__(self, path):
        self.listener = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self.listener.bind(str(path))
        self.listener.listen(4)
        self.imager = None

    def accept(self):
        self.listener.settimeout(5.0)
        if self.imager:
            self.imager.close()
        self.imager, _ = self.listener.accept()
        self.imager.settimeout(5.0)

    def heard(self):
        return decoded(self.imager.recv(65536), TO_GUARD)

    def answer(self, state="off", level=0.0, since_ns=0, **more):
        status = LightStatus(state, level, level > 0, level, since_ns, 0.0, 0.0, **more)
        self.imager.send(encoded(status))

    def close(self):
        self.listener.close()
        if self.imager:
            self.imager.close()


@pytest.fixture
def script(tmp_path):
    guard = ScriptedGuard(tmp_path / "light.sock")
    yield guard
    guard.close()


@pytest.fixture
def link(tmp_path, manual_clock):
    link = LightLink(tmp_path / "light.sock", manual_clock)
    yield link
    link.close()


def test_without_a_guard_nothing_raises_and_all_is_dark(link, manual_clock):
    assert link.status is None
    status = link.renew(1, manual_clock.now_ns(), 33_333.0, 15_000.0)
    assert (status.state, status.level) == ("off", 0.0)
    assert "does not answer" in status.reason
    assert link.want(True, 0.5).wanted_on is False
    assert link.rearm().level == 0.0
    assert not link.reachable
    assert link.over(0, manual_clock.now_ns()) == 0.0


@pytest.mark.parametrize("level", [-0.1, 1.1, float("nan"), float("inf")])
def test_a_level_that_is_none_is_refused(link, level):
    with pytest.raises(Refused, match="light level"):
        link.want(True, level)


@pytest.mark.parametrize(
    ("frame", "says"),
    [
        ((6, 990, 33_333.0, 1e4), "did not advance"),
        ((4, 1000, 33_333.0, 1e4), "came after"),
        ((6, 2000, 33_333.0, 1e4), "future"),
        ((6, 1000, float("nan"), 1e4), "figures"),
        ((6, 1000, 33_333.0, 0.0), "figures"),
    ],
)
def test_a_frame_that_does_not_verify_is_looked_at_without_a_lease(link, script, manual_clock, frame, says):
    link.renew(5, 995 * MS, 33_333.0, 1e4)
    script.accept()
    assert script.heard().sequence == 5
    sequence, time_ms, interval_us, exposure_us = frame
    link.renew(sequence, time_ms * MS, interval_us, exposure_us)
    assert script.heard() == Look()
    assert says in link.trouble


def test_a_late_answer_is_read_at_the_next_call(link, script, manual_clock):
    link.want(False, 0.5)
    script.accept()
    assert not link.reachable
    script.answer("ready")
    assert link.want(False, 0.5).state == "ready"
    assert link.reachable


def test_a_silent_guard_is_taken_for_gone_and_tried_again(link, script, manual_clock):
    link.want(False, 0.5)
    script.accept()
    script.answer("ready")
    link.want(False, 0.5)
    manual_clock.time_ns += SILENT_NS
    link.want(False, 0.5)
    assert link.reachable
    manual_clock.time_ns += SILENT_NS + 1
    status = link.want(False, 0.5)
    assert not link.reachable
    assert "does not answer" in status.reason
    script.accept()  # the new connection
    assert script.heard() == Want(False, 0.5)


def test_no_wish_for_light_survives_a_lost_guard(link, script, manual_clock):
    link.want(True, 0.5)
    script.accept()
    assert script.heard() == Want(True, 0.5)
    script.answer("lit", 0.5, 1)
    script.imager.close()
    assert link.want(True, 0.5).level == 0.0
    manual_clock.advance_ms(200)
    link.want(True, 0.5)  # still the same finger on the button
    script.accept()
    assert script.heard() == Want(False, 0.5)
    link.want(False, 0.5)
    link.want(True, 0.5)  # let go, pressed again
    assert [script.heard(), script.heard()] == [Want(False, 0.5), Want(True, 0.5)]


def test_a_guard_lost_during_an_unlit_frame_does_not_light_again_by_itself(link, script, manual_clock):
    link.want(True, 0.5)
    script.accept()
    assert script.heard() == Want(True, 0.5)
    script.answer("lit", 0.5, 1)
    link.want(True, 0.5, unlit=True)
    assert script.heard() == Want(False, 0.5), "dark for a frame"
    script.imager.close()
    link.want(True, 0.5)
    manual_clock.advance_ms(200)
    link.want(True, 0.5)  # still the same finger on the button
    script.accept()
    assert script.heard() == Want(False, 0.5)


@pytest.mark.parametrize("answer", [b"garbage", b'{"kind": "Lease"}'])
def test_an_answer_that_is_none_ends_the_connection(link, script, answer):
    link.want(True, 0.5)
    script.accept()
    script.answer()
    script.imager.send(answer)
    status = link.want(True, 0.5)
    assert not link.reachable
    assert "not understood" in status.reason


def test_another_version_is_not_spoken_with(link, script):
    link.want(True, 0.5)
    script.accept()
    script.answer(version=3)
    link.want(True, 0.5)
    assert not link.reachable


def test_mean_level_from_the_statuses(link, script, manual_clock):
    link.want(True, 0.5)
    script.accept()
    for level, since_ms in ((0.0, 100), (0.5, 110), (0.5, 110), (0.8, 120), (0.0, 130)):
        script.answer("lit" if level else "off", level, since_ms * MS)
    link.want(True, 0.5)
    assert link.over(100 * MS, 140 * MS) == pytest.approx((0.5 * 10 + 0.8 * 10) / 40)
    assert link.over(112 * MS, 118 * MS) == 0.5
    assert link.over(125 * MS, 125 * MS) == 0.8
    assert link.is_steady(112 * MS, 118 * MS)
    assert not link.is_steady(100 * MS, 140 * MS)
    assert link.over(0, 50 * MS) == 0.0
    assert link.over(131 * MS, 150 * MS) == 0.0


def test_light_is_steady_only_where_every_wish_is_answered(link, script, manual_clock):
    link.want(True, 0.5)
    script.accept()
    asked_ns = manual_clock.now_ns()
    assert link.is_steady(asked_ns - 20 * MS, asked_ns), "ended before the wish was sent"
    assert not link.is_steady(asked_ns - 20 * MS, asked_ns + 1)
    manual_clock.advance_ms(3)
    script.answer("lit", 0.5, asked_ns + 2 * MS)
    assert link.is_steady(asked_ns - 20 * MS, asked_ns)
    assert not link.is_steady(asked_ns + MS, asked_ns + 20 * MS), "dark for a moment, while the level was set"
    assert link.is_steady(asked_ns + 2 * MS, asked_ns + 20 * MS)
    link.renew(1, manual_clock.now_ns(), 33_333.0, 15_000.0)
    assert link.is_steady(asked_ns + 2 * MS, asked_ns + 20 * MS), "no frame puts light out or dims it"


def test_where_light_is_wanted_and_there_is_none_a_frame_may_bring_it(link, script, manual_clock):
    link.want(True, 0.5)
    script.accept()
    script.answer("off", 0.0, 1)
    sent_ns = manual_clock.now_ns()
    link.renew(1, sent_ns, 33_333.0, 15_000.0)
    assert not link.is_steady(sent_ns - MS, sent_ns + MS)
    script.answer("ready", 0.0, 1)
    assert link.is_steady(sent_ns - MS, sent_ns + MS)


def test_a_lost_guard_leaves_light_unsure_for_as_long_as_its_ring_may_shine(link, script, manual_clock):
    link.want(True, 0.5)
    script.accept()
    script.answer("lit", 0.5, 1)
    link.want(True, 0.5)
    script.answer("lit", 0.5, 1)
    manual_clock.advance_ms(10)
    lost_ns = manual_clock.now_ns()
    assert link.is_steady(lost_ns - 5 * MS, lost_ns), "what has come is read"
    script.close()
    link.survey()
    assert not link.reachable
    assert link.is_steady(lost_ns - 20 * MS, lost_ns)
    assert not link.is_steady(lost_ns + LIT_AFTER_NS - MS, lost_ns + LIT_AFTER_NS + 20 * MS)
    assert link.is_steady(lost_ns + LIT_AFTER_NS, lost_ns + LIT_AFTER_NS + 20 * MS)


def test_a_lost_guard_counts_as_dark_from_then_on(link, script, manual_clock):
    link.want(True, 0.5)
    script.accept()
    script.answer("lit", 0.5, manual_clock.now_ns())
    link.want(True, 0.5)
    manual_clock.advance_ms(10)
    script.imager.close()
    link.want(True, 0.5)
    now = manual_clock.now_ns()
    assert link.over(now - 10 * MS, now + 10 * MS) == pytest.approx(0.25)


def test_closing_says_goodbye_and_may_be_repeated(link, script):
    link.want(True, 0.5)
    script.accept()
    script.heard()
    link.close()
    link.close()
    assert script.heard() == Want(False, 0.5)
    assert script.imager.recv(100) == b""
    assert not link.reachable


def test_it_meets_a_real_guard_loses_it_and_finds_it_again(guard_process, wait_until):
    clock = SystemClock()
    link = guard_process.link()
    guard_process.start()
    sequence = 0

    def filmed(state):
        nonlocal sequence
        sequence += 1
        return link.renew(sequence, clock.now_ns(), 33_333.0, 15_000.0).state == state and link.reachable

    wait_until(lambda: filmed("ready"))
    link.want(True, 0.6)
    wait_until(lambda: filmed("lit"))
    lit_ns = clock.now_ns()
    wait_until(lambda: filmed("lit") and clock.now_ns() > lit_ns + 60 * MS)
    span = (clock.now_ns() - 50 * MS, clock.now_ns())
    assert link.over(*span) == guard_process.ring.over(*span) == 0.6
    guard_process.process.send_signal(signal.SIGKILL)
    guard_process.process.wait(10)
    assert not filmed("lit")
    assert not link.reachable
    with guard_process.log_path.open("a") as log:
        guard_process.process = subprocess.Popen(guard_process.command(), stderr=log)
    wait_until(lambda: filmed("ready"))
    link.want(True, 0.6)  # the finger that is still there
    assert not filmed("lit")
    link.want(False, 0.6)
    link.want(True, 0.6)
    wait_until(lambda: filmed("lit"))


def test_the_frame_loop_never_waits_for_a_guard_that_hangs(guard_process, wait_until):
    clock = SystemClock()
    link = guard_process.link()
    guard_process.start()
    wait_until(lambda: link.want(False, 0.5) and link.reachable)
    guard_process.process.send_signal(signal.SIGSTOP)
    waits_ns = []
    start_ns = clock.now_ns()
    sequence = 0
    while clock.now_ns() < start_ns + 2 * SILENT_NS:
        before_ns = clock.now_ns()
        link.renew(sequence, clock.now_ns(), 33_333.0, 15_000.0)
        sequence += 1
        waits_ns.append(clock.now_ns() - before_ns)
    guard_process.process.send_signal(signal.SIGCONT)
    assert not link.reachable
    waits_ns.sort()
    assert waits_ns[len(waits_ns) // 2] < 10 * MS, "the wait is 2 ms; the rest is room for a busy machine"


def test_the_link_needs_nothing_but_the_standard_library():
    code = "import sys, device.light.link; print(sorted(set(sys.modules) & {'numpy', 'gpiozero', 'numba', 'flask', 'zarr'}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=20, check=True)
    assert done.stdout.strip() == "[]"


def test_the_guard_needs_nothing_but_gpiozero():
    code = "import sys, device.light.__main__; print(sorted(set(sys.modules) & {'numpy', 'numba', 'flask', 'zarr', 'PIL'}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=20, check=True)
    assert done.stdout.strip() == "[]"


def test_the_list_of_conditions_is_kept_until_the_guard_is_lost(link, script, manual_clock):
    link.want(False, 0.0)
    script.accept()
    script.heard()
    listed = ConditionState("cover", "missing", "the ring's cover is open")
    script.answer(conditions=(listed,))
    script.answer()
    link.survey()
    assert script.heard() == Look(conditions=True)
    assert link.conditions == (listed,), "a status without a list leaves it as it is"
    script.close()
    manual_clock.advance_ms(1)
    link.survey()
    link.survey()
    assert link.conditions == ()
