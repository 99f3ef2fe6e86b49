"""Zeros that take memory only where they are written; counted by the system (proc(5), /proc/pid/statm)."""

import gc
import os
from pathlib import Path

import numpy as np
import pytest

from shared.fresh_pages import fresh_zeros
from shared.recording.packing import FrameRoom

PAGE = os.sysconf("SC_PAGE_SIZE")


def resident() -> int:
    """Bytes of this process that are in memory."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * PAGE


@pytest.mark.parametrize("shape", [(3, 4), (1, 1), (0, 7)])
def test_they_are_zeros_of_their_shape_that_can_be_written(shape: tuple[int, int]) -> None:
    zeros = fresh_zeros(shape, np.uint16)
    assert (zeros.shape, zeros.dtype, zeros.flags.writeable, zeros.any()) == (shape, np.uint16, True, False)
    zeros[:] = 7
    assert (zeros == 7).all()


def test_only_what_is_written_becomes_memory_and_all_of_it_is_given_back() -> None:
    before = resident()
    zeros = fresh_zeros((64, 1_000_000), np.uint8)
    zeros[3] = 1
    assert resident() - before < 4_000_000
    del zeros
    gc.collect()
    assert resident() - before < 500_000


def test_a_frame_of_ten_bits_takes_no_room_for_sixteen() -> None:
    frame = np.random.default_rng(0).integers(0, 1024, (1088, 1456), np.uint16)
    FrameRoom(frame.shape).take(frame)  # compiles, or loads what was compiled
    before = resident()
    rooms = [FrameRoom(frame.shape) for _ in range(8)]
    for room in rooms:
        room.take(frame)
    assert resident() - before < 0.85 * 8 * frame.nbytes
