"""Threads of the page's process take memory from one heap, by glibc's own account (malloc_info)."""

import subprocess
import sys
from pathlib import Path

HEAPS = """
import ctypes, sys, threading
from web_ui.one_heap import share_one_heap

if sys.argv[2] == "shared":
    share_one_heap()
wait = threading.Barrier(5)

def work():
    rows = [bytearray(50_000) for _ in range(20)]
    wait.wait()  # all of them live at once, so that each had need of a heap
    wait.wait()

threads = [threading.Thread(target=work) for _ in range(4)]
for one in threads:
    one.start()
wait.wait()
libc = ctypes.CDLL(None)
libc.fopen.restype = ctypes.c_void_p
libc.malloc_info.argtypes = [ctypes.c_int, ctypes.c_void_p]
libc.fclose.argtypes = [ctypes.c_void_p]
file = libc.fopen(sys.argv[1].encode(), b"w")
libc.malloc_info(0, file)
libc.fclose(file)
wait.wait()
for one in threads:
    one.join()
"""


def heaps(told: Path, how: str) -> int:
    subprocess.run([sys.executable, "-c", HEAPS, str(told), how], check=True)
    return told.read_text().count("<heap nr=")


def test_threads_share_one_heap(tmp_path: Path) -> None:
    assert heaps(tmp_path / "shared.xml", "shared") == 1
    assert heaps(tmp_path / "own.xml", "each its own") > 1
