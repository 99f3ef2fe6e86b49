"""Fakes of the light room: they record, and fail on order."""

import errno
import os
import select
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from device.light.guard import Guard
from device.light.lamp import Lamp
from device.light.link import LightLink
from device.light.pwm import Pulses, PwmFailed
from device.light.simulated_ring import RingRecord, SimulatedRingReader
from shared.clock import SystemClock
from shared.sensor_settings import SupplySettings, TemperatureSettings
from shared.settings import LightSettings

NO_SENSORS = LightSettings(led_temperature=TemperatureSettings("absent"), supply=SupplySettings("absent"))
"""Cover and distance are absent anyway."""


class FakePin:
    """Output pin that records; while ``broken`` it takes nothing."""

    def __init__(self, name, acts):
        self.name, self.acts = name, acts
        self.high = False
        self.broken = False

    def _set(self, high, act):
        if self.broken:
            raise OSError(errno.EIO, f"{self.name} is broken")
        self.high = high
        self.acts.append((self.name, act))

    def on(self):
        self._set(True, "on")

    def off(self):
        self._set(False, "off")

    def toggle(self):
        self._set(not self.high, "toggle")

    def close(self):
        self._set(False, "close")


class FakePwm:
    """PWM channel that records; while ``broken`` it takes nothing."""

    def __init__(self, acts):
        self.acts = acts
        self.period_ns, self.duty_ns = 0, 0
        self.broken = False

    def _act(self, act):
        if self.broken:
            raise PwmFailed("the PWM is broken")
        self.acts.append(("pwm", act))

    def set(self, period_ns, duty_ns):
        self._act("set")
        self.period_ns, self.duty_ns = period_ns, duty_ns
        return Pulses(period_ns, duty_ns)

    def off(self):
        self._act("off")
        self.duty_ns = 0

    def close(self):
        self._act("close")
        self.duty_ns = 0


class FakeAllowance:
    """Exposure budget that is what the test says: ``left`` nanoseconds of light, or None for no end."""

    def __init__(self):
        self.left, self.at_ns, self.distances = None, None, []

    def pass_to(self, now_ns, level):
        if level > 0 and self.left is not None:
            self.left = max(0, self.left - max(0, now_ns - self.at_ns))
        self.at_ns = now_ns

    def measured(self, distance_mm, now_ns):
        self.distances.append(distance_mm)

    def left_ns(self, level, now_ns):
        return self.left

    def words(self, level, now_ns):
        return f"a limit, at {level:.0%}"


class Bench:
    """A guard on a fake lamp, with its clock and its log; without sensors, unless the settings name some."""

    def __init__(self, clock, settings=None):
        self.clock = clock
        self.acts, self.log = [], []
        self.pwm = FakePwm(self.acts)
        self.enable, self.heartbeat = FakePin("enable", self.acts), FakePin("heartbeat", self.acts)
        self.lamp = Lamp(self.pwm, self.enable, self.heartbeat, wanted_hz=20_000.0)
        self.settings = settings or NO_SENSORS
        self.allowance = FakeAllowance()
        self.guard = Guard(self.lamp, self.settings, self.allowance, clock, self.log.append)

    @property
    def shining(self):
        """What an eye would see, were there no dead-man."""
        return self.enable.high and self.pwm.duty_ns > 0


class FakeKernel:
    """The kernel's side of /sys/class/pwm: keeps its rules, can refuse a write on order, and records every one.

    Rules: a channel that never had a period refuses everything but a period; the duty never exceeds the period; the polarity
    changes only while disabled. ``step_ns``: what a driver that reports what it made of a setting rounds to. ``hands_over_after``:
    how often one looks before the files of an exported channel may be written.
    """

    def __init__(self, pwm_class: Path, device_folder: str, number: int, channels: int):
        self.device = pwm_class.parent / "devices" / device_folder
        self.chip = pwm_class / f"pwmchip{number}"
        self.device.mkdir(parents=True)
        self.chip.mkdir(parents=True)
        (self.chip / "device").symlink_to(self.device)
        (self.chip / "npwm").write_text(f"{channels}\n")
        self.writes: list[tuple[str, str]] = []
        self.fail_at: set[int] = set()
        self.broken = False
        self.error = errno.EIO
        self.step_ns = 1
        self.polarity = "normal"
        self.hands_over_after = 0

    def writable(self, path: Path) -> bool:
        self.hands_over_after -= 1
        return self.hands_over_after < 0

    def write(self, path: Path, text: str) -> None:
        number = len(self.writes)
        self.writes.append((path.name, text))
        if self.broken or number in self.fail_at:
            raise OSError(self.error, os.strerror(self.error))
        if path.name == "export":
            self._export(int(text))
        elif path.name == "unexport":
            for file in (self.chip / f"pwm{text}").iterdir():
                file.unlink()
            (self.chip / f"pwm{text}").rmdir()
        elif path.name == "polarity":
            assert (path.parent / "enable").read_text() == "0\n", "the kernel refuses a polarity while enabled"
            path.write_text(f"{text}\n")
        else:
            self._setting(path, int(text))

    def _export(self, channel: int) -> None:
        folder = self.chip / f"pwm{channel}"
        folder.mkdir()
        for name in ("period", "duty_cycle", "enable"):
            (folder / name).write_text("0\n")
        (folder / "polarity").write_text(f"{self.polarity}\n")

    def _setting(self, path: Path, value: int) -> None:
        now = {name: int((path.parent / name).read_text()) for name in ("period", "duty_cycle", "enable")}
        now[path.name] = value
        if not now["period"] or now["duty_cycle"] > now["period"]:
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
        if path.name != "enable":
            value = self.step_ns * round(value / self.step_ns)
        path.write_text(f"{value}\n")

    def pulsing(self, channel: int) -> bool:
        folder = self.chip / f"pwm{channel}"
        if not folder.exists():
            return False
        return int((folder / "enable").read_text()) == 1 and int((folder / "duty_cycle").read_text()) > 0


def until(holds: Callable[[], object], within_s: float = 10.0, what: str = "") -> None:
    """Return as soon as ``holds()``; fail after ``within_s``."""
    deadline_s = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < deadline_s, f"not within {within_s} s: {what or holds}"
        select.select([], [], [], 0.001)


class GuardProcess:
    """A real guard on the simulated ring, and what its ring record says."""

    def __init__(self, run_dir: Path):
        self.run_dir = run_dir
        self.socket_path = run_dir / "light.sock"
        self.log_path = run_dir / "log"
        self.ring = SimulatedRingReader(run_dir / "simulated_ring")
        self.process: subprocess.Popen | None = None
        self.options: tuple[str, ...] = ()
        self._imagers: list[subprocess.Popen] = []
        self.links: list[LightLink] = []

    def start(self) -> None:
        with self.log_path.open("a") as log:
            self.process = subprocess.Popen(self.command(), stderr=log)
        until(self.answers, what="guard answers")

    def command(self, *more: str) -> list[str]:
        return [
            sys.executable,
            "-m",
            "device.light",
            "--run-dir",
            str(self.run_dir),
            "--simulated",
            *self.options,
            *more,
        ]

    def answers(self) -> bool:
        link = LightLink(self.socket_path, SystemClock())
        link.want(False, 0.0)
        reachable = link.reachable
        link.close()
        return reachable

    def link(self) -> LightLink:
        link = LightLink(self.socket_path, SystemClock())
        self.links.append(link)
        return link

    def imager(self, interval_ms: float = 33.0) -> subprocess.Popen:
        """A process that renews a lease for a frame every ``interval_ms`` and wants light."""
        script = Path(__file__).parent / "imager_process.py"
        process = subprocess.Popen([sys.executable, str(script), str(self.socket_path), str(interval_ms)])
        self._imagers.append(process)
        return process

    def record(self) -> RingRecord:
        record = self.ring.record()
        assert record is not None
        return record

    def lit_now(self) -> bool:
        return self.record().level_at(time.monotonic_ns()) > 0

    def dark_after_ns(self, moment_ns: int) -> int:
        """Nanoseconds from ``moment_ns`` to the end of the light that shone then, by the ring's own record. 0: was dark already."""
        until(lambda: not self.lit_now(), 5.0, "dark")
        record = self.record()
        if record.level_at(moment_ns) == 0:
            return 0
        ends = [change.at_ns for change in record.changes if change.level == 0 and change.at_ns > moment_ns]
        return min([*ends, record.heartbeat_ns + 250_000_000]) - moment_ns

    def log(self) -> str:
        return self.log_path.read_text()

    def stop(self) -> None:
        for link in self.links:
            link.close()
        for process in [*self._imagers, self.process]:
            if process is not None:
                if process.poll() is None:
                    process.kill()
                process.wait(10)
        self.ring.close()


@pytest.fixture
def no_sensors() -> LightSettings:
    return NO_SENSORS


@pytest.fixture
def bench(manual_clock) -> Bench:
    return Bench(manual_clock)


@pytest.fixture
def make_bench() -> type[Bench]:
    return Bench


@pytest.fixture
def fake_kernel(tmp_path) -> Callable[..., FakeKernel]:
    def make(device_folder="fe20c000.pwm", number=0, channels=2) -> FakeKernel:
        return FakeKernel(tmp_path / "pwm", device_folder, number, channels)

    return make


@pytest.fixture
def wait_until():
    return until


@pytest.fixture
def guard_process(tmp_path) -> Iterator[GuardProcess]:
    guard = GuardProcess(tmp_path)
    try:
        yield guard
    finally:
        guard.stop()
