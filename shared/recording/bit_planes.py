"""Compiled packing of counts into a Blosc frame: block by block the bit planes are sorted out, then packed as LZ4.

Pixels of a camera are smooth in their upper bits and noise in their lower ones. General LZ4 looks for matches in the noise, in
vain; here only runs of a repeated byte are looked for, which in bit planes is nearly all there is to find. Size and time are in
DECISION-store.md. The result is an ordinary Blosc 1 frame that every reader of Blosc decodes.

Formats: c-blosc README_CHUNK_FORMAT (header, block offsets), LZ4 Block Format Description (sequences; the last five bytes are
literals, the last match begins twelve before the end), bitshuffle's order of planes (lowest bit of all elements first).
"""
# mypy: disable-error-code="no-untyped-def,no-untyped-call,misc,untyped-decorator,call-arg,unreachable"
# ruff: noqa: ANN001, ANN201, ANN202

import numpy as np
from llvmlite import ir
from numba import njit, types
from numba.cpython.unsafe.numbers import trailing_zeros
from numba.extending import intrinsic

from shared.lanes import prefetch

GROUP = 64
"""Pixels sorted at once; a frame's pixels must be a multiple of it."""
BLOCK_PIXELS = 16384
PAD = 64
"""Bytes before the planes of a block, so that the first may be compared with the one before it."""
SLACK = 256
"""Bytes behind every buffer, because copies go 64 bytes at a time."""

_I8, _I16, _I64 = (ir.IntType(bits) for bits in (8, 16, 64))
_LEAST_RUN = 6
"""Shorter runs save little: on the flap scene 5, 6 and 8 give a ratio of 2.588, 2.580 and 2.559 in 0.36, 0.32 and 0.29 ms."""
_AHEAD = 4096
"""Pixels that are asked for before their turn: a frame comes cold from the camera, and the processor's own guess ends at each page.
Sorting a cold frame takes 0.36 to 0.40 ms instead of 0.48 (by turns, best of three; 1024 ahead does less, 16384 no more)."""
_ONES = np.uint64(0xFFFF_FFFF_FFFF_FFFF)


def _bytes_at(context, builder, array_type, array, offset, count):
    data = context.make_array(array_type)(context, builder, array).data
    return builder.bitcast(builder.gep(data, [offset]), ir.VectorType(_I8, count).as_pointer())


def _planes_of_group(count):
    """Make the kernel that sorts out the ``count`` lowest bits of 64 pixels; it returns which of the pixels have higher ones."""

    @intrinsic
    def kernel(typingctx, pixels, group, words, first, row):
        def codegen(context, builder, signature, arguments):
            source, group_value, target, place, row_value = arguments
            data = context.make_array(signature.args[0])(context, builder, source).data
            out = context.make_array(signature.args[2])(context, builder, target).data
            wide, narrow = ir.VectorType(_I16, GROUP), ir.VectorType(_I8, GROUP)
            start = builder.mul(group_value, ir.Constant(_I64, GROUP))
            values = builder.load(builder.bitcast(builder.gep(data, [start]), wide.as_pointer()), align=2)
            for line in range(0, GROUP, 32):
                prefetch(builder, builder.gep(data, [builder.add(start, ir.Constant(_I64, _AHEAD + line))]))
            place = builder.add(place, group_value)
            for bit in range(count):
                if bit % 8 == 0:
                    shifted = builder.lshr(values, ir.Constant(wide, [bit] * GROUP))
                    octets = builder.trunc(shifted, narrow)
                alone = builder.and_(octets, ir.Constant(narrow, [1 << bit % 8] * GROUP))
                plane = builder.icmp_unsigned("!=", alone, ir.Constant(narrow, [0] * GROUP))
                builder.store(builder.bitcast(plane, _I64), builder.gep(out, [place]), align=8)
                place = builder.add(place, row_value)
            if count == 16:
                return ir.Constant(_I64, 0)
            higher = builder.lshr(values, ir.Constant(wide, [count] * GROUP))
            return builder.bitcast(builder.icmp_signed("!=", higher, ir.Constant(wide, [0] * GROUP)), _I64)

        return types.uint64(pixels, types.int64, words, types.int64, types.int64), codegen

    return kernel


_planes_10, _planes_12, _planes_16 = (_planes_of_group(count) for count in (10, 12, 16))


@intrinsic
def _same_of_64(typingctx, flat, at):
    """Bit k says whether byte ``at`` + k equals the byte before it."""

    def codegen(context, builder, signature, arguments):
        before = builder.sub(arguments[1], ir.Constant(_I64, 1))
        here, there = (
            builder.load(_bytes_at(context, builder, signature.args[0], arguments[0], place, 64), align=1)
            for place in (arguments[1], before)
        )
        return builder.bitcast(builder.icmp_signed("==", here, there), _I64)

    return types.uint64(flat, types.int64), codegen


@intrinsic
def _copy_64(typingctx, target, to, source, at):
    def codegen(context, builder, signature, arguments):
        values = builder.load(_bytes_at(context, builder, signature.args[2], arguments[2], arguments[3], 64), align=1)
        builder.store(values, _bytes_at(context, builder, signature.args[0], arguments[0], arguments[1], 64), align=1)
        return context.get_dummy_value()

    return types.void(target, types.int64, source, types.int64), codegen


@njit(nogil=True, cache=True)
def _put_uint32(out, end, number):
    for k in range(4):
        out[end + k] = (number >> (8 * k)) & 255
    return end + 4


@njit(nogil=True, cache=True)
def _put_length(out, end, length):
    while length >= 255:
        out[end] = 255
        end += 1
        length -= 255
    out[end] = length
    return end + 1


@njit(nogil=True, cache=True)
def _put_sequence(out, end, flat, literals, run, run_end):
    """LZ4 sequence: bytes from ``literals`` to ``run`` as they are, then the byte before ``run`` repeated up to ``run_end``."""
    length, repeats = run - literals, run_end - run - 4
    token = end
    end += 1
    if length >= 15:
        end = _put_length(out, end, length - 15)
    for k in range(0, length, 64):
        _copy_64(out, end + k, flat, literals + k)
    end += length
    if run_end > run:
        out[end], out[end + 1] = 1, 0
        end += 2
        out[token] = (min(length, 15) << 4) | min(repeats, 15)
        return _put_length(out, end, repeats - 15) if repeats >= 15 else end
    out[token] = min(length, 15) << 4
    return end


@njit(nogil=True, cache=True)
def _sort_block(pixels, words):
    """Sort the bit planes of a block into ``words`` and return how many were; the rest are all zero."""
    row, first = pixels.size // GROUP, PAD // 8
    higher = np.uint64(0)
    for group in range(row):
        higher |= _planes_10(pixels, group, words, first, row)
    if higher == 0:
        return 10
    higher = np.uint64(0)
    for group in range(row):
        higher |= _planes_12(pixels, group, words, first, row)
    if higher == 0:
        return 12
    for group in range(row):
        _planes_16(pixels, group, words, first, row)
    return 16


@njit(nogil=True, cache=True)
def _mark_runs(flat, length, same, starts):
    """For each 64 bytes: which equal the byte before, and at which ``_LEAST_RUN`` such bytes begin. Returns how many groups."""
    groups = (length + 63) // 64
    for g in range(groups):
        same[g] = _same_of_64(flat, PAD + 64 * g)
    same[groups] = 0
    if groups:
        same[0] &= ~np.uint64(1)
        if length % 64:
            same[groups - 1] &= ~(_ONES << np.uint64(length % 64))
    for g in range(groups):
        here, following = same[g], same[g + 1]
        found = here & ((here >> np.uint64(1)) | (following << np.uint64(63)))
        if found == 0:  # in planes of noise nearly always
            starts[g] = 0
            continue
        for k in range(2, _LEAST_RUN):
            found &= (here >> np.uint64(k)) | (following << np.uint64(64 - k))
        starts[g] = found
    return groups


@njit(nogil=True, cache=True)
def _pack_block(size, used, flat, same, starts, out, end):
    """One LZ4 block of the ``used`` bit planes of ``size`` pixels; returns where it ends."""
    total = size * 2
    length = used * (size // 8)
    groups = _mark_runs(flat, length, same, starts)
    literals, g = 0, 0
    while g < groups:
        if starts[g] == 0:
            g += 1
            continue
        run = 64 * g + np.int64(trailing_zeros(starts[g]))
        if run > total - 16:
            break
        h, differs = g, ~same[g] & (_ONES << np.uint64(run - 64 * g))
        while differs == 0:
            h += 1
            differs = ~same[h]
        run_end = min(64 * h + np.int64(trailing_zeros(differs)), total - 5)
        end = _put_sequence(out, end, flat, PAD + literals, PAD + run, PAD + run_end)
        literals = run_end
        g = h
        starts[g] &= _ONES << np.uint64(run_end - 64 * h)
    if used < 16:
        flat[PAD + length] = 0
        end = _put_sequence(out, end, flat, PAD + literals, PAD + length + 1, PAD + total - 5)
        for k in range(5):
            flat[PAD + total - 5 + k] = 0
        literals = total - 5
    return _put_sequence(out, end, flat, PAD + literals, PAD + total, PAD + total)


@njit(nogil=True, cache=True)
def pack_frame(pixels, flat, same, starts, out):
    """Fill ``out`` with a Blosc frame of ``pixels``, (n,) uint16 with n a multiple of ``GROUP``; returns its length.

    ``flat`` uint8 is room for the planes of a block, ``same`` and ``starts`` uint64 room to work in, as ``packing.FrameRoom``
    makes them. A block in which nothing is gained is stored as it is.
    """
    blocks = (pixels.size + BLOCK_PIXELS - 1) // BLOCK_PIXELS
    end = 16 + 4 * blocks
    for number in range(blocks):
        part = pixels[number * BLOCK_PIXELS : min((number + 1) * BLOCK_PIXELS, pixels.size)]
        used = _sort_block(part, flat.view(np.uint64))
        _put_uint32(out, 16 + 4 * number, end)
        packed_end = _pack_block(part.size, used, flat, same, starts, out, end + 4)
        if packed_end - end - 4 >= part.size * 2:
            out[end + 4 : end + 4 + part.size * 2] = flat[PAD : PAD + part.size * 2]
            packed_end = end + 4 + part.size * 2
        _put_uint32(out, end, packed_end - end - 4)
        end = packed_end
    out[0], out[1], out[2], out[3] = 2, 1, 0x04 | 0x10 | (1 << 5), 2  # bitshuffle, blocks not split, LZ4
    _put_uint32(out, 4, pixels.size * 2)
    _put_uint32(out, 8, min(BLOCK_PIXELS, pixels.size) * 2)
    _put_uint32(out, 12, end)
    return end
