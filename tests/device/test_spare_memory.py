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
