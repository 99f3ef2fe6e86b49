"""The guard's systemd unit, as far as its death goes: watchdog, ExecStopPost, restart. Read from systemd/tapetum-light.service."""

import os
import re
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Sequence
from pathlib import Path

SERVICE = Path(__file__).parents[2] / "systemd" / "tapetum-light.service"


def of_the_unit(key: str) -> float:
    """Seconds that the unit gives ``key``."""
    found = re.search(rf"^{key}=(\d+)$", SERVICE.read_text(), re.MULTILINE)
    assert found is not None, f"{key} is not in {SERVICE}"
    return float(found[1])


class Unit:
    """Runs ``guard`` (a command); after every end runs it with ``--dark``, then again. ``darkened_s`` has how long that took."""

    def __init__(self, root: Path, run_dir: Path, guard: Sequence[str]) -> None:
        self._root = root
        self._guard, self._log = list(guard), run_dir / "guard.log"
        self._watchdog_s, self._restart_s = of_the_unit("WatchdogSec"), of_the_unit("RestartSec")
        self._abort_s = of_the_unit("TimeoutAbortSec")
        self._notify = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._notify.bind(str(run_dir / "notify"))
        self._notify.settimeout(0.005)
        self._environment = {
            **os.environ,
            "NOTIFY_SOCKET": str(run_dir / "notify"),
            "WATCHDOG_USEC": str(round(self._watchdog_s * 1e6)),
        }
        self._over = threading.Event()
        self.process: subprocess.Popen[bytes] | None = None
        self.darkened_s: list[float] = []
        self.watchdog_kills = 0
        self._thread = threading.Thread(target=self._run, name="unit")
        self._thread.start()

    def close(self) -> None:
        """End the guard, the helper, and this."""
        self._over.set()
        self._thread.join()
        self._notify.close()

    def _run(self) -> None:
        while not self._over.is_set():
            with self._log.open("a") as log:
                self.process = subprocess.Popen(self._guard, stderr=log, env=self._environment, cwd=self._root)
                self._watched(self.process)
                ended_s = time.monotonic()
                with subprocess.Popen(
                    [*self._guard, "--dark"], stderr=log, env=self._environment, cwd=self._root
                ) as helper:
                    try:
                        helper.wait(of_the_unit("TimeoutStopSec"))
                    except subprocess.TimeoutExpired:
                        helper.kill()
                self.darkened_s.append(time.monotonic() - ended_s)
            self._over.wait(self._restart_s)

    def _watched(self, guard: "subprocess.Popen[bytes]") -> None:
        """Return when the guard has ended, by itself or by its watchdog: SIGABRT and SIGCONT, then SIGKILL."""
        fed_s = time.monotonic() + of_the_unit("TimeoutStartSec") - self._watchdog_s
        while guard.poll() is None:
            try:
                if b"=1" in self._notify.recv(100):
                    fed_s = time.monotonic()
            except TimeoutError:
                pass
            if self._over.is_set():
                number = signal.SIGTERM
            elif time.monotonic() - fed_s > self._watchdog_s:
                number = signal.SIGABRT
                self.watchdog_kills += 1
            else:
                continue
            guard.send_signal(number)
            guard.send_signal(signal.SIGCONT)
            try:
                guard.wait(self._abort_s)
            except subprocess.TimeoutExpired:
                guard.kill()
                guard.wait()
