"""The guard under its unit, and an imager reduced to its link: quick to bring up, for faults of the guard's own surroundings."""

import json
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

from device.light.sensors.simulated import FOLDER
from tests.faults.orders import Orders
from tests.faults.pwm_tree import PwmTree
from tests.faults.ring_watch import RingWatch, patiently
from tests.faults.unit import Unit

ROOT = Path(__file__).parents[2]
UP_WITHIN_S = 30.0


def replaced_sensors_gone(run_dir: Path) -> None:
    """The simulated sensors speak for themselves again."""
    for path in (run_dir / FOLDER).glob("*"):
        path.unlink()


class Bench:
    """``board``: the guard runs its code for the real board, on a tree of files; else on the simulated ring."""

    def __init__(self, run_dir: Path, board: bool = False, settings: str = "") -> None:
        """``settings`` are laid over the vendor's, for the guard alone."""
        self.run_dir = run_dir
        self.orders = Orders(run_dir)
        self.tree = PwmTree(run_dir) if board else None
        self.watch = RingWatch(run_dir, self.tree.pulsing) if self.tree else RingWatch(run_dir)
        place = ["--simulated"]
        if self.tree:
            place = ["--pwm-class", str(self.tree.pwm_class), "--sys", str(self.tree.root)]
        (run_dir / "settings.toml").write_text(settings)
        place += ["--settings-override", str(run_dir / "settings.toml")]
        guard = [sys.executable, "-m", "tests.faults.odd_guard", "--run-dir", str(run_dir), *place]
        self.unit = Unit(ROOT, run_dir, guard)
        self.puppet: subprocess.Popen[bytes] | None = None
        if not patiently((run_dir / "light.sock").exists, UP_WITHIN_S):
            self.close()
            raise AssertionError(f"no guard: {self.log()[-2000:]}")

    # ---- the operator -----------------------------------------------------------------------------------------------

    def imager_up(self) -> None:
        """A puppet that runs, and is heard by the guard."""
        if self.puppet is None or self.puppet.poll() is not None:
            (self.run_dir / "status").unlink(missing_ok=True)
            command = [sys.executable, "-m", "tests.faults.puppet_imager", "--run-dir", str(self.run_dir)]
            self.puppet = subprocess.Popen(command, cwd=ROOT)

    def finger(self, down: bool) -> None:
        """A finger held on the page, or lifted."""
        self.orders.give("finger", int(down))

    def rearm(self) -> None:
        """The deliberate act that leaves a trip."""
        self.orders.give("rearms", self.orders.of("rearms") + 1)

    def step_level(self) -> None:
        """The next level."""
        self.orders.give("level", self.orders.of("level") + 1)

    def set_exposure(self, exposure_us: int) -> None:
        """Another exposure, and so another period of the pulses."""
        self.orders.give("exposure_us", exposure_us)

    def status(self) -> dict[str, Any] | None:
        """What the imager knows of the light; None where there is none."""
        if self.puppet is None or self.puppet.poll() is not None:
            return None
        try:
            found: dict[str, Any] = json.loads((self.run_dir / "status").read_text())
        except FileNotFoundError:
            return None
        return found

    @property
    def helped_s(self) -> list[float]:
        """How long ExecStopPost took after each end of the guard."""
        return self.unit.darkened_s

    # ---- processes --------------------------------------------------------------------------------------------------

    def pid(self, part: str) -> int:
        """Process of the guard or the imager."""
        process = self.unit.process if part == "guard" else self.puppet
        assert process is not None
        return process.pid

    def revive(self) -> None:
        """Everything runs again; what was broken is mended."""
        if self.tree is not None:
            self.tree.mend()
        self.orders.clear()
        replaced_sensors_gone(self.run_dir)
        for process in (self.unit.process, self.puppet):
            if process is not None and process.poll() is None:
                process.send_signal(signal.SIGCONT)
        self.imager_up()

    def log(self) -> str:
        """All that the guards of this bench said."""
        return (self.run_dir / "guard.log").read_text()

    def close(self) -> None:
        """End all."""
        if self.tree is not None:
            self.tree.mend()
        self.orders.clear()
        if self.puppet is not None and self.puppet.poll() is None:
            self.puppet.kill()
            self.puppet.wait()
        self.unit.close()
        self.watch.close()
        self.orders.close()
