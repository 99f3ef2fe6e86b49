"""What a process needed only to start, given back to the system before the camera starts."""

import ctypes
import gc


def give_back() -> None:
    """Return free memory of the heap to the system (tens of megabytes of pictures drawn and loops loaded). Takes some 0.1 s.

    glibc keeps what lies below the last piece in use. Another C library has no malloc_trim, and nothing is done.
    """
    gc.collect()
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
    if trim is not None:
        trim(0)
