"""Our unpacking kernel gives what the Blosc library gives, whoever packed the frame."""

import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numcodecs import blosc, lz4

from shared.recording.bit_planes import BLOCK_PIXELS, SLACK
from shared.recording.frame_codec import unpack_frame
from shared.recording.packing import FrameRoom
from shared.recording.unpacking import FrameUnpacker, _is_ours, _unpack

UNPACKER = FrameUnpacker()
SHAPES = st.sampled_from([(1, 32), (3, 11), (1, 64), (64, 96), (129, 256), (128, 128), (200, 164), (192, 128)])


def drawn(shape: tuple[int, int], bits: int, seed: int, calm: float) -> np.ndarray:
    """Noise of any depth, with stretches of any length that repeat."""
    rng = np.random.default_rng(seed)
    pixels = rng.integers(0, 1 << bits, shape, np.int64).astype(np.uint16).reshape(-1)
    for _ in range(int(calm * 20)):
        start = int(rng.integers(0, pixels.size))
        pixels[start : start + int(rng.integers(1, pixels.size + 1))] = pixels[start]
    return pixels.reshape(shape)


def packed_by_us(pixels: np.ndarray) -> np.ndarray:
    room = FrameRoom(pixels.shape)
    room.take(pixels)
    return room.packed().copy()


@settings(max_examples=100, deadline=None)
@given(SHAPES, st.integers(0, 16), st.integers(0, 2**32 - 1), st.floats(0, 1))
def test_any_pixels_come_back(shape: tuple[int, int], bits: int, seed: int, calm: float) -> None:
    pixels = drawn(shape, bits, seed, calm)
    packed = packed_by_us(pixels)
    assert _is_ours(packed, pixels.size) == (pixels.size % 64 == 0)
    found = UNPACKER(packed, shape)
    np.testing.assert_array_equal(found, pixels)
    np.testing.assert_array_equal(found, unpack_frame(packed, shape))
    assert not found.flags.writeable


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 16), st.integers(0, 2**32 - 1), st.floats(0, 1), st.integers(1, 9))
def test_what_the_library_packed_comes_back(bits: int, seed: int, calm: float, level: int) -> None:
    pixels = drawn((192, 256), bits, seed, calm)
    packed = np.frombuffer(blosc.compress(pixels, b"lz4", level, blosc.BITSHUFFLE, 0), np.uint8)
    np.testing.assert_array_equal(UNPACKER(packed, pixels.shape), pixels)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from([1, 2, 3, 5, 31, 64, 65, 200, 2048]), st.integers(0, 2**32 - 1), st.integers(0, 20))
def test_matches_at_any_distance_are_undone(period: int, seed: int, spoilt: int) -> None:
    """LZ4 by its own library (lz4.org, in numcodecs), which looks for matches anywhere, in a frame as we make them."""
    rng = np.random.default_rng(seed)
    planes = np.resize(rng.integers(0, 256, period), 2 * BLOCK_PIXELS).astype(np.uint8)
    planes[rng.integers(0, planes.size, spoilt)] ^= 0xFF
    block = lz4.compress(planes.tobytes())[4:]
    packed = np.frombuffer(
        struct.pack("<4B5I", 2, 1, 0x34, 2, planes.size, planes.size, 24 + len(block), 20, len(block)) + block, np.uint8
    )
    bits = np.unpackbits(planes.reshape(16, -1), axis=1, bitorder="little").astype(np.uint16)
    wanted = (bits << np.arange(16, dtype=np.uint16)[:, None]).sum(axis=0, dtype=np.uint16)
    found = np.empty(BLOCK_PIXELS, np.uint16)
    assert _is_ours(packed, found.size)
    assert _unpack(packed, np.zeros(planes.size + SLACK, np.uint8), found)
    np.testing.assert_array_equal(found, wanted)
    np.testing.assert_array_equal(unpack_frame(packed, (128, 128)).reshape(-1), wanted)


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_a_damaged_frame_is_left_to_the_library(seed: int) -> None:
    """Whatever stands in it, nothing is written beside the room, and what does not come out whole is said."""
    rng = np.random.default_rng(seed)
    pixels = drawn((128, 128), 10, seed, 0.3)
    packed = packed_by_us(pixels)
    for place in rng.integers(16, packed.size, 4):
        packed[place] = rng.integers(0, 256)
    packed.flags.writeable = False
    room = np.full(2 * BLOCK_PIXELS + SLACK + 64, 0xA5, np.uint8)
    found = np.full(pixels.size + 64, 0xA5A5, np.uint16)
    _unpack(packed, room[: 2 * BLOCK_PIXELS + SLACK], found[: pixels.size])
    assert (room[2 * BLOCK_PIXELS + SLACK :] == 0xA5).all()
    assert (found[pixels.size :] == 0xA5A5).all()


def test_a_frame_that_was_cut_off_is_refused() -> None:
    packed = packed_by_us(drawn((128, 256), 10, 1, 0.3))
    short = packed[:-100].copy()
    assert not _is_ours(short, 128 * 256)
    short[12:16] = np.frombuffer(np.uint32(short.size).tobytes(), np.uint8)
    short.flags.writeable = False
    assert _is_ours(short, 128 * 256)
    assert not _unpack(short, np.zeros(2 * BLOCK_PIXELS + SLACK, np.uint8), np.empty(128 * 256, np.uint16))
    with pytest.raises((RuntimeError, ValueError)):
        UNPACKER(short, (128, 256))
