"""A running device as commands and other clients of its control socket see it, and its ring's own record."""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from device.light.simulated_ring import RING_NAME, SimulatedRingReader
from shared.protocol.control import GetState, State
from shared.protocol.control_client import ControlClient

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
