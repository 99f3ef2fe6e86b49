"""Our packing kernel writes what the Blosc library reads, whatever the pixels."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numcodecs import blosc

from shared.recording.bit_planes import BLOCK_PIXELS, pack_frame
from shared.recording.frame_codec import unpack_frame
from shared.recording.packing import FrameRoom


def check(pixels: np.ndarray, room: FrameRoom | None = None) -> int:
    room = FrameRoom(pixels.shape) if room is None else room
    room.take(pixels)
    packed = bytes(room.packed())
    np.testing.assert_array_equal(np.frombuffer(blosc.decompress(packed), np.uint16).reshape(pixels.shape), pixels)
    np.testing.assert_array_equal(unpack_frame(packed, pixels.shape), pixels)
    return len(packed)


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(
        [
            (1, 32),
            (2, 16),
            (16, 16),
            (3, 11),
            (64, 96),
            (31, 33),
            (129, 256),
            (128, 128),
            (200, 164),
            (1, 64),
            (192, 128),
        ]
    ),
    st.integers(0, 16),
    st.integers(0, 2**32 - 1),
    st.floats(0, 1),
)
def test_any_pixels_come_back(shape: tuple[int, int], bits: int, seed: int, calm: float) -> None:
    """Noise of any depth, with stretches of any length that repeat."""
    rng = np.random.default_rng(seed)
    pixels = rng.integers(0, 1 << bits, shape, np.int64).astype(np.uint16).reshape(-1)
    for _ in range(int(calm * 20)):
        start = int(rng.integers(0, pixels.size))
        pixels[start : start + int(rng.integers(1, pixels.size + 1))] = pixels[start]
    check(pixels.reshape(shape))


@pytest.mark.parametrize("value", [0, 1, 0x8000, 0xFFFF, 0x5555])
@pytest.mark.parametrize("shape", [(1, 32), (8, 8), (128, 256), (129, 256)])
def test_even_pixels_come_back_and_shrink(shape: tuple[int, int], value: int) -> None:
    pixels = np.full(shape, value, np.uint16)
    assert check(pixels) <= (pixels.nbytes + 24 if pixels.size <= 64 else pixels.nbytes / 50 + 64)


def test_what_cannot_shrink_is_stored_as_it_is() -> None:
    pixels = np.random.default_rng(0).integers(0, 1 << 16, (300, 320), np.int64).astype(np.uint16)
    blocks = -(-pixels.size // BLOCK_PIXELS)
    assert check(pixels) == pixels.nbytes + 16 + 8 * blocks


def test_a_room_forgets_the_frame_before() -> None:
    """Frames of all depths through one room: planes that the last one does not have are those of an earlier one."""
    room = FrameRoom((256, 192))
    rng = np.random.default_rng(3)
    for bits in (16, 10, 3, 12, 0, 16, 11, 10):
        check(rng.integers(0, 1 << bits, (256, 192), np.int64).astype(np.uint16), room)


def test_frames_that_may_be_written_and_those_that_may_not_need_no_compiler_of_their_own() -> None:
    """What is compiled before the camera starts must do for a camera's frames, or the first lit one comes too late."""
    room, pixels = FrameRoom((64, 64)), np.zeros((64, 64), np.uint16)
    room.take(pixels)
    pixels.flags.writeable = False
    room.take(pixels)
    assert len(pack_frame.signatures) == 1


def test_one_noisy_block_among_smooth_ones() -> None:
    pixels = np.zeros((256, 256), np.uint16)
    pixels[64:128] = np.random.default_rng(0).integers(0, 1 << 16, (64, 256), np.int64)
    assert check(pixels) < pixels.nbytes / 3


def test_as_small_as_the_library_makes_it() -> None:
    """Photon noise at 10 electrons a count over a smooth field: within 2 % of Blosc's own bitshuffle and LZ4."""
    rng = np.random.default_rng(1)
    rows, columns = np.mgrid[0:544, 0:728]
    mean = 40 + 400 * np.exp(-((columns - 350) ** 2 + (rows - 250) ** 2) / (2 * 175.0**2))
    pixels = np.rint(rng.poisson(mean * 10) / 10 + rng.normal(0, 0.3, mean.shape) + 20).clip(0, 1023).astype(np.uint16)
    ours = check(pixels)
    assert ours < 1.02 * len(blosc.compress(pixels, b"lz4", 1, blosc.BITSHUFFLE, 0))
    assert pixels.nbytes / ours > 2.2


def test_another_shape_is_refused() -> None:
    with pytest.raises(ValueError, match="64 pixels, not 32"):
        FrameRoom((1, 32)).take(np.zeros((2, 32), np.uint16))
