"""A machine that has no time or memory to spare, for as long as a trial lasts."""

import contextlib
import os
import subprocess
import sys

from device.light.service import REALTIME_PRIORITY

_WHILE_WANTED = "import os\nparent = os.getppid()\nwhile os.getppid() == parent:"
LOOP = f"{_WHILE_WANTED} pass"
EATER = f"a = bytearray(1 << 30)\n{_WHILE_WANTED}\n for i in range(0, len(a), 4096): a[i] = (a[i] + 1) & 255"

WITHOUT_PRIORITY = "busy, the guard without priority"
CONDITIONS = ("", "busy", "busy at nice -5", WITHOUT_PRIORITY, "short of memory")
"""Nothing; two loops a core; as many that come before everyone of ordinary priority; two loops a core, and a guard that was granted
nothing; a gigabyte turned over, and a loop."""


def started(condition: str, guard: int, lasting: contextlib.ExitStack) -> None:
    """Bring ``condition`` about until the stack is closed; ``guard`` is the process of that."""
    cores = os.cpu_count() or 1
    loop = [sys.executable, "-c", LOOP]
    commands = {
        "": [],
        "busy": [loop] * (2 * cores),
        "busy at nice -5": [["nice", "-n", "-5", *loop]] * (2 * cores),
        WITHOUT_PRIORITY: [loop] * (2 * cores),
        "short of memory": [[sys.executable, "-c", EATER], loop],
    }
    if condition == WITHOUT_PRIORITY:
        _scheduled(guard, os.SCHED_OTHER, 0)
        lasting.callback(_scheduled, guard, os.SCHED_FIFO | os.SCHED_RESET_ON_FORK, REALTIME_PRIORITY)
    for command in commands[condition]:
        process = subprocess.Popen(command)
        lasting.callback(process.wait)
        lasting.callback(process.kill)


def _scheduled(process: int, policy: int, priority: int) -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.sched_setscheduler(process, policy, os.sched_param(priority))
