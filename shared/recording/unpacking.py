"""Compiled unpacking, for whoever needs many frames one after another: LZ4 on each block, then bit planes back into counts.

Takes three quarters of the Blosc library's time: 0.85 ms instead of 1.17 for 1456x1088. Where a frame is not as ``packing`` makes
them, or is damaged, the library is asked. The formats are named in ``bit_planes``.
"""
# mypy: disable-error-code="no-untyped-def,no-untyped-call,misc,untyped-decorator,call-arg,unreachable"
# ruff: noqa: ANN001, ANN202

import struct

import numpy as np
from llvmlite import ir
from numba import njit, types
from numba.extending import intrinsic
from numpy.typing import NDArray

from shared.frame import Counts
from shared.recording.bit_planes import BLOCK_PIXELS, GROUP, SLACK, _bytes_at, _copy_64
from shared.recording.frame_codec import unpack_frame

_HEADER = struct.Struct("<4B3I")
_OURS = (2, 1, 0x04 | 0x10 | (1 << 5), 2)
"""Version, LZ4's version, bitshuffle with blocks not split by LZ4, and bytes a pixel."""

_I1, _I8, _I16, _I32, _I64 = (ir.IntType(bits) for bits in (1, 8, 16, 32, 64))


class FrameUnpacker:
    """Unpacks frames; belongs to one thread, and drops the interpreter lock."""

    def __init__(self) -> None:
        self._planes = np.zeros(2 * BLOCK_PIXELS + SLACK, np.uint8)

    def __call__(self, packed: NDArray[np.uint8], shape: tuple[int, int]) -> Counts:
        """As ``unpack_frame``."""
        pixels, lent = np.empty(shape[0] * shape[1], np.uint16), packed.view()
        lent.flags.writeable = False  # so that there is one kind of argument to compile for
        if not _is_ours(lent, pixels.size) or not _unpack(lent, self._planes, pixels):
            return unpack_frame(packed, shape)
        pixels.flags.writeable = False
        return pixels.reshape(shape)


def _is_ours(packed: NDArray[np.uint8], pixels: int) -> bool:
    """Whether a frame of so many pixels says that it is as ``packing`` makes them, and has all of its blocks' places."""
    blocks = -(-pixels // BLOCK_PIXELS)
    if pixels % GROUP or packed.size < 16 + 4 * blocks:
        return False
    found = _HEADER.unpack_from(packed.data)
    return found == (*_OURS, 2 * pixels, 2 * min(BLOCK_PIXELS, pixels), packed.size)


@intrinsic
def _fill_64(typingctx, target, to, value):
    """Write 64 bytes of one value."""

    def codegen(context, builder, signature, arguments):
        wide = ir.VectorType(_I8, 64)
        first = builder.insert_element(ir.Constant(wide, ir.Undefined), arguments[2], ir.Constant(_I32, 0))
        none, alike = ir.Constant(wide, ir.Undefined), ir.Constant(ir.VectorType(_I32, 64), [0] * 64)
        values = builder.shuffle_vector(first, none, alike)
        builder.store(values, _bytes_at(context, builder, signature.args[0], arguments[0], arguments[1], 64), align=1)
        return context.get_dummy_value()

    return types.void(target, types.int64, types.uint8), codegen


def _counts_of_group(count):
    """Make the kernel that puts 64 counts together from their ``count`` lowest bits."""

    @intrinsic
    def kernel(typingctx, words, group, row, pixels, place):
        def codegen(context, builder, signature, arguments):
            source, group_value, row_value, target, place_value = arguments
            data = context.make_array(signature.args[0])(context, builder, source).data
            out = context.make_array(signature.args[3])(context, builder, target).data
            wide, where = ir.VectorType(_I16, GROUP), group_value
            nothing = counts = ir.Constant(wide, [0] * GROUP)
            for bit in range(count):
                plane = builder.load(builder.gep(data, [where]), align=8)
                is_set, value = builder.bitcast(plane, ir.VectorType(_I1, GROUP)), ir.Constant(wide, [1 << bit] * GROUP)
                counts = builder.or_(counts, builder.select(is_set, value, nothing))
                where = builder.add(where, row_value)
            builder.store(counts, builder.bitcast(builder.gep(out, [place_value]), wide.as_pointer()), align=2)
            return context.get_dummy_value()

        return types.void(words, types.int64, types.int64, pixels, types.int64), codegen

    return kernel


_counts_10, _counts_12, _counts_16 = (_counts_of_group(count) for count in (10, 12, 16))


@njit(nogil=True, cache=True)
def _uint32(packed, at):
    number = np.int64(0)
    for k in range(4):
        number |= np.int64(packed[at + k]) << (8 * k)
    return number


@njit(nogil=True, cache=True)
def _length(packed, at, end, short):
    """A length of which a token says ``short``, and where what follows it begins: beyond ``end`` where it is cut off."""
    if short < 15:
        return short, at
    while at < end:
        more = np.int64(packed[at])
        short += more
        at += 1
        if more < 255:
            return short, at
    return short, end + 1


@njit(nogil=True, cache=True)
def _unpack_block(packed, at, end, planes, size):
    """Undo LZ4 from ``at`` to ``end``; returns whether it gave ``size`` bytes."""
    place = 0
    while at < end:
        token = np.int64(packed[at])
        number, at = _length(packed, at + 1, end, token >> 4)
        if at + number > end or place + number > size:
            return False
        if at + number + 64 <= packed.size:
            for k in range(0, number, 64):
                _copy_64(planes, place + k, packed, at + k)
        else:
            for k in range(number):
                planes[place + k] = packed[at + k]
        place += number
        at += number
        if at >= end - 1:  # the last sequence has nothing but literals
            return place == size and at == end
        back = np.int64(packed[at]) | (np.int64(packed[at + 1]) << 8)
        number, at = _length(packed, at + 2, end, token & 15)
        number += 4
        if at > end or back == 0 or back > place or place + number > size:
            return False
        if back == 1:
            for k in range(0, number, 64):
                _fill_64(planes, place + k, planes[place - 1])
        else:
            for k in range(number):
                planes[place + k] = planes[place + k - back]
        place += number
    return False


@njit(nogil=True, cache=True)
def _put_together(words, pixels, first, row):
    """Counts from ``first`` on from their bit planes, of ``row`` words each."""
    twelfth = sixteenth = np.uint64(0)
    for k in range(10 * row, 12 * row):
        twelfth |= words[k]
    for k in range(12 * row, 16 * row):
        sixteenth |= words[k]
    for group in range(row):
        place = first + GROUP * group
        if sixteenth != 0:
            _counts_16(words, group, row, pixels, place)
        elif twelfth != 0:
            _counts_12(words, group, row, pixels, place)
        else:
            _counts_10(words, group, row, pixels, place)


@njit(nogil=True, cache=True)
def _unpack(packed, planes, pixels):
    """Fill ``pixels``, (n,) uint16, from a frame; ``planes`` is room for a block. Returns whether the frame was whole."""
    words = planes.view(np.uint64)
    for block in range((pixels.size + BLOCK_PIXELS - 1) // BLOCK_PIXELS):
        first = block * BLOCK_PIXELS
        number = min(BLOCK_PIXELS, pixels.size - first)
        at = _uint32(packed, 16 + 4 * block) + 4
        if at > packed.size:
            return False
        end = at + _uint32(packed, at - 4)
        if end > packed.size:
            return False
        if end - at == 2 * number:  # nothing was gained by packing
            planes[: 2 * number] = packed[at:end]
        elif not _unpack_block(packed, at, end, planes, 2 * number):
            return False
        _put_together(words, pixels, first, number // GROUP)
    return True
