"""Memory given back: less is held, and what was compiled or is compiled anew still works."""

import subprocess
import sys

SCRIPT = """
import numpy as np, numba, psutil
from device.spare_memory import give_back
one = numba.njit(lambda x: x + 1)
one(1)
blocks = [np.ones(50_000) for _ in range(200)]
del blocks[:-1]
before = psutil.Process().memory_info().rss
give_back()
after = psutil.Process().memory_info().rss
assert one(2) == 3
assert numba.njit(lambda x: x * 2)(4) == 8
print(before - after)
"""


def test_memory_is_given_back_and_the_compiler_goes_on_working() -> None:
    ended = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=True)
    assert int(ended.stdout) > 20_000_000


HEAPS = """
import re, sys, threading
from pathlib import Path
if sys.argv[1] == "shared":
    from device.spare_memory import share_heaps
    share_heaps()
held, all_there, over = [], threading.Barrier(9), threading.Event()
def take():
    held.append([bytearray(1000) for _ in range(2000)])
    all_there.wait(20)
    over.wait(20)
threads = [threading.Thread(target=take) for _ in range(8)]
[one.start() for one in threads]
all_there.wait(20)
ends = re.findall(r"^[0-9a-f]+000000-([0-9a-f]+) rw-p", Path("/proc/self/maps").read_text(), re.M)
over.set()
print(len(ends))
"""


def test_threads_share_two_heaps() -> None:
    """glibc's heaps of threads begin at whole 64 MB."""

    def heaps(how: str) -> int:
        command = [sys.executable, "-c", HEAPS, how]
        return int(subprocess.run(command, capture_output=True, text=True, check=True).stdout)

    assert heaps("shared") < heaps("own")
