"""What a process needed only to start, given back to the system: free memory of the heap, and the code of the compiler."""

import contextlib
import ctypes
import gc
from pathlib import Path

_MADV_DONTNEED = 4
_COMPILER = "libllvmlite"


def give_back() -> None:
    """Return to the system what is not used any more, some 100 MB after a start. Takes some 0.1 s.

    glibc keeps free memory that lies below the last piece in use, until it is trimmed; another C library has no ``malloc_trim``.
    The compiler behind the loops (numba's) maps 70 MB of code while it loads them; should it be used again, the system reads its
    code anew. On Linux alone; elsewhere nothing is done.
    """
    gc.collect()
    library = ctypes.CDLL(None)
    trim = getattr(library, "malloc_trim", None)
    if trim is not None:
        trim(0)
    with contextlib.suppress(FileNotFoundError):
        for start, size in _code_of(Path("/proc/self/maps").read_text(), _COMPILER):
            library.madvise(ctypes.c_void_p(start), ctypes.c_size_t(size), _MADV_DONTNEED)


def _code_of(maps: str, library: str) -> list[tuple[int, int]]:
    """Where a library's code lies: start and bytes. Only what can be executed, and so was never written to since it was read."""
    found = []
    for line in maps.splitlines():
        fields = line.split(maxsplit=5)
        if len(fields) == 6 and fields[1] == "r-xp" and library in fields[5]:
            start, end = (int(number, 16) for number in fields[0].split("-"))
            found.append((start, end - start))
    return found
