"""The live picture in one pass over the frame: the order in which the loops of ``live_kernel`` run.

Long lists of plain arguments, because an array inside a tuple would cost a reference count at every call.
"""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

import numpy as np

from shared.lanes import blended, borrowed, compiled, greater, high_half, is_above, low_half, mean_high, mean_low
from shared.live_kernel import (
    AHEAD,
    CLIP,
    CLIP_ANY,
    CLIP_ROWS,
    CLIPPED,
    LARGEST,
    LUMA,
    MARKS,
    OVER,
    SMOOTHED,
    block_row,
    covered_row,
    finish_grey,
    finish_relative,
    grey_row,
    mark_clipped,
    mean_row,
    mend_defects,
    over_row,
    put_mended,
    remember_row,
    rescale_row,
    smooth_row,
    steady_row,
)


# fmt: off
@compiled
def _paint(
    j, any_clipped, plane, words, row_0, row_1, width, baseline, inverse_flat, below, n, lines, line_bytes
):
    """First half of block row ``j``: everything that needs no neighbouring block row."""
    blocks = width // 2
    luma = LUMA + ((2 * j) & 3)
    lines[CLIP_ANY, MARKS + (j & 1)] = 1 if any_clipped else 0
    if any_clipped:
        over_row(j, words, row_0, row_1, blocks, lines)
    else:
        for i in range(blocks):
            lines[OVER + (j & 1), i] = 0
    if n.relative:
        mean_row(j, words, row_0, row_1, blocks, any_clipped, baseline, n, lines)
        block_row(j, blocks, inverse_flat, below, n, lines)
        covered_row(words, row_0, blocks, luma, n, lines)
        covered_row(words, row_1, blocks, luma + 1, n, lines)
    else:
        grey_row(plane, row_0, width, luma, n, line_bytes)
        grey_row(plane, row_1, width, luma + 1, n, line_bytes)


@compiled
def _finish(j, half_rows, blocks, offset, stripes, dots, dashes, light, dark, n, lines, y_words, u, v):
    """Second half of block row ``j``, once the block row after it is painted."""
    if n.relative:
        finish_relative(j, half_rows, blocks, offset, stripes, dots, dashes, light, dark, n, lines, y_words, u, v)
    else:
        finish_grey(j, blocks, offset, stripes, lines, y_words, u, v)


@compiled
def _advance(upto, done, first, raw, dark, gain, defects, starts, sources, state, remembered, n, lines):
    """Correct and steady rows until ``upto``; returns rows done, the next defect, and saturated pixels met."""
    clipped = 0
    while done <= upto:
        if n.rescale != 65536:
            rescale_row(state, done, n)
        following = first
        if first < defects.shape[0] and defects[first] < (done + 1) * raw.shape[1]:
            following = mend_defects(raw, dark, gain, state, done, n, lines, first, defects, starts, sources)
        largest = steady_row(raw, dark, gain, state, done, n)
        if following > first:
            put_mended(state, done, lines, first, following, defects)
        if largest >= n.saturation:
            clipped += mark_clipped(raw, done, n, lines, first, defects)
        elif lines[CLIP_ANY, done % CLIP_ROWS]:
            for x in range(raw.shape[1]):
                lines[CLIP + done % CLIP_ROWS, x] = 0
            lines[CLIP_ANY, done % CLIP_ROWS] = 0
        first = following
        if (done & 7) == n.remember_phase:
            remember_row(state, remembered, done, n)
        done += 1
    return done, first, clipped


@compiled
def draw_whole(
    raw, dark, gain, defects, starts, sources, state, remembered, baseline, inverse_flat, below, stripes, dots, dashes,
    light_word, dark_word, n, lines, line_bytes, line_words, y_words, u, v,
):
    """One frame to full-size planes; returns how many pixels are saturated."""
    raw, dark, gain, state, remembered = (
        borrowed(raw),
        borrowed(dark),
        borrowed(gain),
        borrowed(state),
        borrowed(remembered),
    )
    defects, starts, sources = borrowed(defects), borrowed(starts), borrowed(sources)
    baseline, inverse_flat, below = borrowed(baseline), borrowed(inverse_flat), borrowed(below)
    stripes, dots, dashes = borrowed(stripes), borrowed(dots), borrowed(dashes)
    lines, line_bytes, line_words = borrowed(lines), borrowed(line_bytes), borrowed(line_words)
    y_words, u, v = borrowed(y_words), borrowed(u), borrowed(v)
    height = raw.shape[0]
    half_rows, blocks = u.shape
    done, first, clipped = 0, 0, 0
    for j in range(half_rows):
        for y in range(2 * j, min(2 * j + 2, height)):
            if done <= min(y + 1, height - 1):
                done, first, more = _advance(
                    min(y + AHEAD, height - 1), done, first, raw, dark, gain, defects, starts, sources, state,
                    remembered, n, lines
                )
                clipped += more
            smooth_row(state, y, n, lines)
        row_0, row_1 = SMOOTHED, SMOOTHED + (min(2 * j + 1, height - 1) & 1)
        any_clipped = lines[CLIP_ANY, CLIP_ROWS] | lines[CLIP_ANY, CLIP_ROWS + 1]
        _paint(
            j, any_clipped, lines, line_words, row_0, row_1, 2 * blocks, baseline, inverse_flat, below, n, lines, line_bytes
        )
        if j:
            _finish(j - 1, half_rows, blocks, 0, stripes, dots, dashes, light_word, dark_word, n, lines, y_words, u, v)
    _finish(half_rows - 1, half_rows, blocks, 0, stripes, dots, dashes, light_word, dark_word, n, lines, y_words, u, v)
    return clipped


@compiled
def _halve(line_words, row_0, row_1, half, at, columns):
    """Mean of 2 x 2 smoothed values into row ``at`` of the half-size plane, CLIPPED where one of them is."""
    largest, limit = np.int16(LARGEST), np.int16(CLIPPED)
    for i in range(columns):
        a, b = low_half(line_words[row_0, i]), high_half(line_words[row_0, i])
        c, d = low_half(line_words[row_1, i]), high_half(line_words[row_1, i])
        over = is_above(greater(greater(a, b), greater(c, d)), largest)
        half[at, i] = blended(over, limit, mean_high(mean_low(a, b), mean_low(c, d)))


@compiled
def halve_whole(raw, dark, gain, defects, starts, sources, state, remembered, half, n, lines, line_words):
    """One frame to a half-size plane of smoothed values; returns how many pixels are saturated."""
    raw, dark, gain, state, remembered = (
        borrowed(raw),
        borrowed(dark),
        borrowed(gain),
        borrowed(state),
        borrowed(remembered),
    )
    defects, starts, sources, half = borrowed(defects), borrowed(starts), borrowed(sources), borrowed(half)
    lines, line_words = borrowed(lines), borrowed(line_words)
    height = raw.shape[0]
    done, first, clipped = 0, 0, 0
    for j in range(half.shape[0]):
        for y in range(2 * j, 2 * j + 2):
            if done <= min(y + 1, height - 1):
                done, first, more = _advance(
                    min(y + AHEAD, height - 1), done, first, raw, dark, gain, defects, starts, sources, state,
                    remembered, n, lines
                )
                clipped += more
            smooth_row(state, y, n, lines)
        first_row, second_row = SMOOTHED, SMOOTHED + 1
        _halve(line_words, first_row, second_row, half, j, raw.shape[1] // 4 * 2)
    done, first, more = _advance(
        height - 1, done, first, raw, dark, gain, defects, starts, sources, state, remembered, n, lines
    )
    return clipped + more


@compiled
def draw_half(
    half, half_words, baseline, inverse_flat, below, stripes, dots, dashes, light_word, dark_word, n, lines, line_bytes, offset,
    half_rows, y_words, u, v,
):
    """A half-size plane into the planes' columns from block ``offset`` on."""
    half, half_words, inverse_flat, below = borrowed(half), borrowed(half_words), borrowed(inverse_flat), borrowed(below)
    stripes, dots, dashes = borrowed(stripes), borrowed(dots), borrowed(dashes)
    baseline, y_words, u, v = borrowed(baseline), borrowed(y_words), borrowed(u), borrowed(v)
    lines, line_bytes = borrowed(lines), borrowed(line_bytes)
    height, width = half.shape[0], u.shape[1]
    blocks = width // 2
    for j in range(half_rows):
        row_0, row_1 = 2 * j, min(2 * j + 1, height - 1)
        _paint(j, 1, half, half_words, row_0, row_1, width, baseline, inverse_flat, below, n, lines, line_bytes)
        if j:
            _finish(j - 1, half_rows, blocks, offset, stripes, dots, dashes, light_word, dark_word, n, lines, y_words, u, v)
    _finish(half_rows - 1, half_rows, blocks, offset, stripes, dots, dashes, light_word, dark_word, n, lines, y_words, u, v)
