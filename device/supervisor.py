"""One small parent that starts the three processes, restarts one that dies, and stops them all.

On the handheld systemd does this; the parent serves the demo and work at the bench. The guard is asked to end first: its end
switches the light off, whatever becomes of the others.
"""

import contextlib
import ctypes
import os
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from shared.errors import Refused

STOP_PATIENCE_S = 5.0
RESTART_PAUSE_S = 0.2
LONGEST_PAUSE_S = 5.0
STEADY_AFTER_S = 10.0
SAY_EVERY_S = 30.0
REFUSED_STATUS = 2
_OWN_NAME = re.compile(r"^(light guard|light|imager|web): ")
_PR_SET_PDEATHSIG = 1


@dataclass
class Child:
    """A process to keep running. ``arguments`` follow the Python interpreter."""

    name: str
    arguments: Sequence[str]
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    restarts: int = 0
    pause_s: float = RESTART_PAUSE_S
    start_at: float = 0.0
    output: bytes = field(default=b"", repr=False)


def _die_with_parent() -> None:
    # A parent killed with -9 must not leave a guard that nobody stops.
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)


class Supervisor:
    """Starts children in the order given, which is also the order in which they are asked to end."""

    def __init__(self, children: Sequence[Child], note: Callable[[str], None], logs: Path) -> None:
        """What a child says on standard error is kept in the folder ``logs``, in a file named after it."""
        self._children = list(children)
        self._note = note
        self._logs = {child.name: (logs / f"{child.name}.log").open("wb") for child in children}
        self._stopping = False

    def request_stop(self, *_: object) -> None:
        """Make ``run`` return; fit for a signal handler."""
        self._stopping = True

    def start(self) -> None:
        """Start every child."""
        for child in self._children:
            self._start(child)

    def wait_line(self, name: str, seconds: float) -> str | None:
        """First line that child ``name`` prints, or None when asked to stop. Raises Refused if any child ends first."""
        child = next(child for child in self._children if child.name == name)
        assert child.process is not None
        assert child.process.stdout is not None
        pipe = child.process.stdout

        def has_line() -> bool:
            if select.select([pipe], [], [], 0)[0]:
                child.output += os.read(pipe.fileno(), 65536)
            return b"\n" in child.output

        return child.output.partition(b"\n")[0].decode() if self.wait_until(has_line, name, seconds) else None

    def wait_until(self, ready: Callable[[], bool], name: str, seconds: float) -> bool:
        """Wait for ``ready``; False when asked to stop. Raises Refused if a child ends first, or after ``seconds``."""
        began = time.monotonic()
        said_s = SAY_EVERY_S
        while not self._stopping and not ready():
            waited_s = time.monotonic() - began
            if waited_s > said_s:
                self._note(f"still waiting for {name} after {waited_s:.0f} s")
                said_s += SAY_EVERY_S
            if waited_s > seconds:
                raise Refused(f"{name} was not ready within {seconds:g} s", remedy="try again on a less busy machine")
            for child in self._children:
                if child.process is not None and child.process.poll() is not None:
                    raise Refused(self._last_words(child))
            time.sleep(0.02)
        return not self._stopping

    def run(self, seconds: float | None = None) -> None:
        """Keep the children running until asked to stop, or for ``seconds``."""
        end = None if seconds is None else time.monotonic() + seconds
        while not self._stopping and (end is None or time.monotonic() < end):
            for child in self._children:
                self._revive(child)
            time.sleep(0.05)

    def stop(self) -> None:
        """Ask all children to end at once, and kill those that do not."""
        running = [(child.name, child.process) for child in self._children if child.process is not None]
        for child in self._children:
            child.process = None
        for _, process in running:
            with contextlib.suppress(ProcessLookupError):
                process.terminate()
        deadline = time.monotonic() + STOP_PATIENCE_S
        for name, process in running:
            try:
                process.wait(max(0.0, deadline - time.monotonic()))
            except subprocess.TimeoutExpired:
                self._note(f"{name} did not stop, killing it")
                process.kill()
                process.wait()
            if process.stdout is not None:
                process.stdout.close()
        for log in self._logs.values():
            log.close()

    def _start(self, child: Child) -> None:
        # preexec_fn is safe here: this parent has no threads.
        child.process = subprocess.Popen(
            [sys.executable, *child.arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=self._logs[child.name],
            preexec_fn=_die_with_parent,
        )
        child.started = time.monotonic()
        child.output = b""

    def _revive(self, child: Child) -> None:
        now = time.monotonic()
        if child.process is not None:
            if child.process.poll() is None:
                return
            self._note(f"{child.name} ended ({_manner(child.process.returncode)}), starting it again")
            if child.process.stdout is not None:
                child.process.stdout.close()
            child.process = None
            child.restarts += 1
            child.pause_s = (
                RESTART_PAUSE_S if now - child.started > STEADY_AFTER_S else min(2 * child.pause_s, LONGEST_PAUSE_S)
            )
            child.start_at = now + child.pause_s
        elif now >= child.start_at:
            self._start(child)

    def _last_words(self, child: Child) -> str:
        """Why ``child`` ended: its own line where it refused something (status 2), else how it ended and what it said last."""
        assert child.process is not None
        lines = Path(self._logs[child.name].name).read_text(errors="replace").strip().splitlines()
        words = lines[-1] if lines else "no message"
        if child.process.returncode == REFUSED_STATUS:
            return _OWN_NAME.sub("", words)
        return f"{child.name} ended ({_manner(child.process.returncode)}): {words}"


def _manner(code: int | None) -> str:
    if code is not None and code < 0:
        return f"signal {signal.Signals(-code).name}"
    return f"exit {code}"
