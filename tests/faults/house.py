"""The whole device as the demo runs it, on a small scene: supervisor, guard, imager and web, and a finger on the page."""

import contextlib
import os
import select
import signal
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import psutil

from device.demo import free_port
from shared.errors import Refused
from shared.protocol import control as c
from shared.protocol.control_client import ControlClient
from tests.bench.conftest import SCENE
from tests.faults.bench import ROOT, UP_WITHIN_S, replaced_sensors_gone
from tests.faults.orders import Orders
from tests.faults.ring_watch import RingWatch, patiently

MODULES = {"guard": "tests.faults.odd_guard", "imager": "tests.faults.odd_imager", "web": "web_ui"}
REPEAT_S = 0.2
ANSWER_S = 1.0
ENDED_WITHIN_S = 60.0
"""Orphans of a killed supervisor, however busy the machine."""


class House:
    """Seen from outside, as a page and an operating system see it."""

    tree = None
    helped_s: tuple[float, ...] = ()

    def __init__(self, folder: Path) -> None:
        self.run_dir, self.data_dir = folder / "run", folder / "data"
        self.run_dir.mkdir(parents=True, exist_ok=True)
        self.orders = Orders(self.run_dir)
        self.port = free_port("127.0.0.1")
        self._messages = folder / "messages"
        self._folder = folder
        self._finger = threading.Event()
        self._over = threading.Event()
        self._client = ControlClient(self.run_dir / "control.sock", timeout_s=ANSWER_S)
        self._start()
        self.watch = RingWatch(self.run_dir)
        self._hand = threading.Thread(target=self._hold, name="finger")
        self._hand.start()

    def _start(self) -> None:
        scene, settings = self._folder / "scene.toml", self._folder / "settings.toml"
        scene.write_text(SCENE)
        settings.write_text("[recording]\nleast_free_mb = 50\n")
        words = (self.run_dir, self.data_dir, self.port, scene, settings)
        command = [sys.executable, "-m", "tests.faults.house_process", *map(str, words)]
        with self._messages.open("a") as kept:
            self.parent = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=kept)
        assert self.parent.stdout is not None
        ready = select.select([self.parent.stdout], [], [], 4 * UP_WITHIN_S)[0]
        line = self.parent.stdout.readline() if ready else b""
        if not line:
            self._end()
            raise AssertionError(f"the house did not come up: {self._messages.read_text()[-2000:]}")

    # ---- the operator -----------------------------------------------------------------------------------------------

    def finger(self, down: bool) -> None:
        """A finger held on the page's Light, or lifted."""
        if down:
            self._finger.set()
        else:
            self._finger.clear()
            self.ask(c.Light("off"))

    def _hold(self) -> None:
        with ControlClient(self.run_dir / "control.sock", timeout_s=ANSWER_S) as client:
            while not self._over.wait(REPEAT_S):
                if self._finger.is_set():
                    with contextlib.suppress(Refused):
                        client.ask(c.Light("on"))

    def rearm(self) -> None:
        """The deliberate act that leaves a trip."""
        self.ask(c.Light("rearm"))

    def step_level(self) -> None:
        """The next level."""
        self.ask(c.Light("brighter"))

    def set_exposure(self, exposure_us: int) -> None:
        """Another exposure."""
        self.ask(c.SetExposure(float(exposure_us), 1.0))

    def ask(self, request: object) -> c.State | None:
        """State after a request; None while nobody answers."""
        try:
            answer = self._client.ask(request)
        except Refused:
            return None
        return answer if isinstance(answer, c.State) else None

    def status(self) -> dict[str, Any] | None:
        """What the imager knows of the light; None while nobody answers."""
        state = self.ask(c.GetState())
        return None if state is None else vars(state.light)

    # ---- processes --------------------------------------------------------------------------------------------------

    def imager_up(self) -> None:
        """The supervisor sees to that."""

    def pid(self, part: str) -> int:
        """Process of a part."""
        if part == "supervisor":
            return self.parent.pid
        assert patiently(lambda: self._child(part), UP_WITHIN_S), f"no {part}: {self._messages.read_text()}"
        found = self._child(part)
        return found if found is not None else self.pid(part)

    def _child(self, part: str) -> int | None:
        with contextlib.suppress(psutil.NoSuchProcess):
            for child in psutil.Process(self.parent.pid).children():
                with contextlib.suppress(psutil.NoSuchProcess, psutil.ZombieProcess):
                    if MODULES[part] in child.cmdline():
                        return child.pid
        return None

    def _family(self) -> list[psutil.Process]:
        found = []
        for process in psutil.process_iter():
            with contextlib.suppress(psutil.NoSuchProcess, psutil.AccessDenied, psutil.ZombieProcess):
                if str(self.run_dir) in process.cmdline() and process.pid != os.getpid():
                    found.append(process)
        return found

    def revive(self) -> None:
        """Everything runs again; what was broken is mended."""
        self.orders.clear()
        replaced_sensors_gone(self.run_dir)
        for process in self._family():
            with contextlib.suppress(psutil.NoSuchProcess):
                process.send_signal(signal.SIGCONT)
        if self.parent.poll() is not None:
            _, left = psutil.wait_procs(self._family(), ENDED_WITHIN_S)
            assert not left, f"outlived their supervisor: {left}"
            self._let_go_of_parent()
            self._start()

    def _let_go_of_parent(self) -> None:
        self.parent.wait()
        if self.parent.stdout is not None:
            self.parent.stdout.close()

    def log(self) -> str:
        """All that the guard of this supervisor said (a new supervisor begins a new file)."""
        return (self.run_dir / "light guard.log").read_text(errors="replace")

    def messages(self) -> str:
        """What the supervisor said."""
        return self._messages.read_text()

    def close(self) -> None:
        """End all."""
        self._over.set()
        self._hand.join()
        self._client.close()
        self._end()
        self.watch.close()
        self.orders.close()

    def _end(self) -> None:
        self.orders.clear()
        for process in self._family():
            with contextlib.suppress(psutil.NoSuchProcess):
                process.send_signal(signal.SIGCONT)
        if self.parent.poll() is None:
            self.parent.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.parent.wait(15)
        _, left = psutil.wait_procs(self._family(), 10)
        for one in left:
            one.kill()
        self._let_go_of_parent()
