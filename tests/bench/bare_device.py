"""Guard and imager of a simulated device without the page, for the commands that talk to them; restarted as often as one likes."""

import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from device.light.simulated import RING_NAME, SimulatedRingReader
from shared.errors import Refused
from shared.protocol.control import GetState, State
from shared.protocol.control_client import ControlClient, DeviceGone
from tests.bench.running_demo import wait_for

START_S = 90.0
STOP_S = 15.0
COMMAND_S = 100.0


@dataclass
class BareDevice:
    """What runs, and where."""

    run_folder: Path
    data: Path

    def tapetum(self, *words: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "device", *words, "--run-dir", str(self.run_folder)]
        return subprocess.run(command, capture_output=True, text=True, timeout=COMMAND_S, check=False)

    def started(self, *words: str) -> subprocess.Popen[str]:
        command = [sys.executable, "-m", "device", *words, "--run-dir", str(self.run_folder)]
        return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True)

    def ask(self, request: object) -> State:
        with ControlClient(self.run_folder / "control.sock") as client:
            answer = client.ask(request)
        assert isinstance(answer, State)
        return answer

    def state(self) -> State:
        return self.ask(GetState())

    def ring_level(self) -> float:
        """What the ring does now, by its own record."""
        ring = SimulatedRingReader(self.run_folder / RING_NAME)
        record = ring.record()
        ring.close()
        return record.changes[-1].level if record is not None and record.changes else 0.0


@contextmanager
def bare_device(run_folder: Path, data: Path, scene: Path, settings: Path) -> Iterator[BareDevice]:
    """Both processes until the end of the ``with``."""
    run_folder.mkdir(parents=True, exist_ok=True)
    (run_folder / "control.sock").unlink(missing_ok=True)
    places = ["--run-dir", str(run_folder), "--settings-override", str(settings)]
    guard = [sys.executable, "-m", "device.light", *places, "--simulated"]
    imager = [sys.executable, "-m", "device.imager", *places, "--data-dir", str(data), "--scene", str(scene)]
    device = BareDevice(run_folder, data)

    def answers() -> bool:
        assert all(process.poll() is None for process in processes), (run_folder / "messages.txt").read_text()
        try:
            return device.state().light.reachable and device.state().camera.sequence > 5
        except (DeviceGone, Refused):
            return False

    with (run_folder / "messages.txt").open("a") as messages:
        processes = [subprocess.Popen(command, stderr=messages, stdout=messages) for command in (guard, imager)]
        try:
            wait_for(answers, "guard and imager running", START_S)
            yield device
        finally:
            for process in reversed(processes):
                process.send_signal(signal.SIGTERM)
            for process in reversed(processes):
                try:
                    process.wait(STOP_S)
                except subprocess.TimeoutExpired:
                    process.kill()
                    raise
