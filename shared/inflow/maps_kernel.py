"""What the maps do with every frame and at the end of every time slot: compiled loops over 2 x 2 bins.

Sums of raw counts come first, because a frame then costs little more than reading it; dark, flat and light are applied to sums.
"""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201

import numpy as np

from shared.inflow.maps_compiled import compiled

NO_DATA = -32768
LARGEST = 32767


@compiled
def add_frame(pairs, defects, limit, sums, clipped):
    """Add a frame to ``sums`` (height, width) uint32, defects left out, and its saturated pixels to ``clipped``, uint16.

    ``pairs`` (2 height, width) uint32 are two pixels each; ``defects`` (n, 2) rows and columns. Returns whether any is saturated.
    """
    height, width = sums.shape
    low = np.uint32(0xFFFF)
    high = np.uint32(16)
    any_clipped = False
    for y in range(height):
        largest = np.uint32(0)
        for x in range(width):
            a, b = pairs[2 * y, x], pairs[2 * y + 1, x]
            a_low, a_high, b_low, b_high = a & low, a >> high, b & low, b >> high
            sums[y, x] += a_low + a_high + b_low + b_high
            largest = max(largest, max(max(a_low, a_high), max(b_low, b_high)))
        if largest >= limit:
            any_clipped = True
            for x in range(width):
                a, b = pairs[2 * y, x], pairs[2 * y + 1, x]
                over = ((a & low) >= limit) + ((a >> high) >= limit) + ((b & low) >= limit) + ((b >> high) >= limit)
                clipped[y, x] += np.uint16(over)
    for i in range(defects.shape[0]):
        row, column = defects[i, 0], defects[i, 1]
        y, x = row >> 1, column >> 1
        pair = pairs[row, x]
        value = pair >> high if column & 1 else pair & low
        sums[y, x] -= value
        if value >= limit:
            clipped[y, x] -= np.uint16(1)
    return any_clipped


@compiled
def correct_sums(sums, dark, inverse_flat, frames, factor, signal, seen):
    """Move sums of ``frames`` frames into ``signal`` (sum of signals) and ``seen`` (frames), and clear them."""
    height, width = sums.shape
    scale, number = np.float32(factor), np.float32(frames)
    for y in range(height):
        for x in range(width):
            counts = np.float32(sums[y, x]) - number * dark[y, x]
            signal[y, x] += counts * inverse_flat[y, x] * scale
            seen[y, x] += np.uint16(frames)
    sums[:] = np.uint32(0)


@compiled
def mark_clipped(clipped, least, ever):
    """Set ``ever`` where ``clipped`` reaches ``least``, and clear ``clipped``."""
    for y in range(clipped.shape[0]):
        for x in range(clipped.shape[1]):
            if clipped[y, x] >= least:
                ever[y, x] = np.uint8(1)
            clipped[y, x] = np.uint16(0)


@compiled
def store_slot(signal, seen, least, slot, blocks, known, side):
    """Means of bins that at least ``least`` frames showed, as int16 into ``slot``; their sums over ``side`` x ``side`` blocks into
    ``blocks``, of so many bins as ``known`` says; clears the sums. Returns the step.
    """
    height, width = signal.shape
    largest, one, half = np.float32(1e-30), np.float32(1.0), np.float32(0.5)
    tops = np.zeros(width, np.float32)
    for y in range(height):
        for x in range(width):
            signal[y, x] /= max(np.float32(seen[y, x]), one)
            tops[x] = max(tops[x], abs(signal[y, x]))
    for x in range(width):
        largest = max(largest, tops[x])
    per_unit, nothing = np.float32(LARGEST) / largest, np.int16(NO_DATA)
    totals, numbers = np.empty(width, np.float32), np.empty(width, np.int32)
    for top in range(0, height, side):
        totals[:] = np.float32(0.0)
        numbers[:] = 0
        for y in range(top, min(top + side, height)):
            for x in range(width):
                is_seen = seen[y, x] >= least
                totals[x] += signal[y, x] if is_seen else np.float32(0.0)
                numbers[x] += np.int32(is_seen)
                value = np.int16(np.floor(signal[y, x] * per_unit + half))
                slot[y, x] = value if is_seen else nothing
                signal[y, x] = np.float32(0.0)
                seen[y, x] = np.uint16(0)
        for left in range(0, width, side):
            blocks[top // side, left // side] = totals[left : left + side].sum()
            known[top // side, left // side] = numbers[left : left + side].sum()
    return largest / np.float32(LARGEST)


@compiled
def merge_slots(into, other, weight, step_into, step_other):
    """Mean of two slots into the first, which counts ``weight`` (0 to 1); steps are in units of the mean's step, at most 1.

    A bin that one of them did not see is unseen in both: what is left would be of another moment than the slot's.
    """
    a, b = np.float32(weight) * np.float32(step_into), np.float32(1.0 - weight) * np.float32(step_other)
    nothing, half = np.int16(NO_DATA), np.float32(0.5)
    for y in range(into.shape[0]):
        for x in range(into.shape[1]):
            one, two = np.float32(into[y, x]), np.float32(other[y, x])
            if into[y, x] != nothing:
                into[y, x] = np.int16(np.floor(one * a + two * b + half)) if other[y, x] != nothing else nothing
