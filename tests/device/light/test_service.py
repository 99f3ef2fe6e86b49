import os
import re
import socket
import subprocess

import pytest

from device.light.service import LogLines, ServiceNotice, ask_for_priority


@pytest.fixture
def systemd(tmp_path):
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(str(tmp_path / "notify"))
        listener.settimeout(10.0)
        yield listener


def test_systemd_is_told_and_the_watchdog_is_due_at_half_its_time(systemd, tmp_path):
    notice = ServiceNotice({"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "2000000"})
    notice.say("READY=1")
    assert systemd.recv(100) == b"READY=1"
    assert notice.watchdog_ns == 1_000_000_000


def test_without_systemd_nothing_is_said():
    notice = ServiceNotice({"WATCHDOG_USEC": "2000000"})
    notice.say("READY=1")
    assert notice.watchdog_ns is None


def test_a_systemd_that_is_gone_is_no_error(tmp_path, capfd):
    ServiceNotice({"NOTIFY_SOCKET": str(tmp_path / "gone")}).say("READY=1")
    assert "did not take 'READY=1'" in capfd.readouterr().err


def test_the_guard_itself_says_ready_watchdog_and_stopping(systemd, tmp_path, guard_process):
    environment = {**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "100000"}
    process = subprocess.Popen(guard_process.command(), env=environment, stderr=subprocess.DEVNULL)
    try:
        heard = [systemd.recv(100) for _ in range(4)]
        process.terminate()
        assert process.wait(10) == 0
        while heard[-1] != b"STOPPING=1":
            heard.append(systemd.recv(100))
    finally:
        process.kill()
        process.wait(10)
    assert heard[0] == b"READY=1"
    assert set(heard[1:-1]) == {b"WATCHDOG=1"}


def test_a_log_nobody_reads_never_blocks_and_says_what_was_lost():
    reader, writer = os.pipe()
    try:
        log = LogLines(writer)
        for number in range(20_000):
            log(f"line {number}")
        text = b""
        while len(text) < 60_000:
            text += os.read(reader, 65_536)
        log("after")
        last = os.read(reader, 65_536).decode().splitlines()[-1]
        lost = re.fullmatch(r"light guard: \((\d+) lines lost\) after", last)
        assert lost is not None
        assert int(lost[1]) > 10_000
    finally:
        os.close(reader)
        os.close(writer)


def test_priority_is_asked_for_and_a_refusal_is_said(monkeypatch):
    def refused(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "sched_setscheduler", refused)
    monkeypatch.setattr(os, "nice", lambda by: by)
    assert ask_for_priority() == "real-time priority was not granted (Operation not permitted); niceness -10 instead"
    monkeypatch.setattr(os, "nice", refused)
    assert "dark may come late" in ask_for_priority()
