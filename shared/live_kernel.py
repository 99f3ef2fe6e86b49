"""The live picture in one pass over the frame, in 16-bit whole numbers: the loops.

Rows flow through buffers that stay in the first-level cache: corrected row -> steadied plane -> smoothed rows -> percent and luma
rows -> a row of blocks (2 x 2 pixels) with chroma, contour bands and marks -> finished rows of the Y, U and V planes. All values
are int16: corrected counts times a fixed scale, percent times 32, luma as 16384 for 255. ``fused_picture`` prepares the numbers.

A smoothed value of CLIPPED stands for "a saturated pixel is in it".
"""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shared.lanes import (
    add,
    both,
    chosen,
    down,
    down_unsigned,
    either,
    greater,
    high_half,
    is_above,
    is_at_least,
    lesser,
    low_half,
    mean_high,
    mean_low,
    product,
    subtract,
    times,
    up,
)

CLIPPED = 32767
LARGEST = 16383
PERCENT_UNIT = 32
LARGEST_PERCENT = 256 * PERCENT_UNIT - 1
CHROMA_SHIFT = 3
RING = 8

compiled = njit(cache=True, nogil=True, error_model="numpy")


class Numbers(NamedTuple):
    """Numbers of one frame. ``_shift``, ``_limit`` and ``_share`` together multiply: min(a, limit) 2^shift share / 2^15."""

    raw_down: int
    raw_up: int
    saturation: int
    fresh: int  # 1: this frame stands alone; 0: mixed into the steadied plane
    new_share: int
    rescale: int  # steadied plane times this / 2^16 first; 65536 leaves it
    smooth: int
    tone_shift: int
    tone_limit: int
    tone_share: int
    relative: int
    percent_shift: int
    percent_limit: int
    percent_share: int
    with_baseline: int
    clear: int
    ramp: int
    cover_slope: int
    scale_top: int
    scale_shift: int
    scale_middle: int
    scale_stretch: int
    luma_0: int
    luma_1: int
    luma_2: int
    luma_3: int
    luma_4: int
    level_0: int
    level_1: int
    level_2: int
    level_3: int
    remember_phase: int  # rows y with y % 4 equal to this are remembered
    remember_scale: float
    remember_share: float


class Rows(NamedTuple):
    """Scratch rows, allocated once. ``wide`` is the padded even width, ``blocks`` half of it."""

    corrected: NDArray[np.int16]  # (width,) int16
    clip: NDArray[np.int16]  # (4, width) int16 masks
    clip_any: NDArray[np.int64]  # (4,) int64
    column: NDArray[np.int16]  # (wide + 2,) int16
    column_clip: NDArray[np.int16]  # (wide + 2,) int16
    smoothed: NDArray[np.int16]  # (RING, wide) int16
    smoothed_words: NDArray[np.int32]  # the same as int32
    above: NDArray[np.int16]  # (wide,) int16
    percent: NDArray[np.int16]  # (2, wide) int16
    percent_words: NDArray[np.int32]
    luma: NDArray[np.uint8]  # (4, wide) uint8
    luma_words: NDArray[np.int16]  # the same as int16
    block_percent: NDArray[np.int16]  # (blocks,) int16
    place: NDArray[np.int16]  # (blocks,) int16
    band: NDArray[np.int16]  # (4, blocks + 2) int16
    too_dark: NDArray[np.int16]  # (4, blocks) int16
    over: NDArray[np.int16]  # (4, blocks) int16
    chroma: NDArray[np.int16]  # (4, blocks) int16
    most: NDArray[np.int16]  # (blocks + 2,) int16
    least: NDArray[np.int16]  # (blocks + 2,) int16


@compiled
def _correct_row(raw, dark, gain, y, n, rows):
    """Counts above dark over the flat into ``rows.corrected``; returns the largest raw count."""
    shift_down, shift_up = np.int16(n.raw_down), np.int16(n.raw_up)
    out = rows.corrected
    largest = np.uint16(0)
    for x in range(raw.shape[1]):
        value = raw[y, x]
        shifted = up(down_unsigned(np.int16(value), shift_down), shift_up)
        out[x] = product(subtract(shifted, dark[y, x]), gain[y, x])
        largest = max(largest, value)
    return np.int64(largest)


@compiled
def _replace_defects(raw, dark, gain, y, n, rows, first, defects, starts, sources):
    """Put the mean of the good neighbours in place of each defect of row ``y``; returns the place of the next row's first."""
    width = raw.shape[1]
    rounding = 1 << 14
    while first < defects.shape[0] and defects[first] < (y + 1) * width:
        total = 0
        number = np.int64(starts[first + 1] - starts[first])
        for at in range(starts[first], starts[first + 1]):
            row, column = sources[at] // width, sources[at] % width
            counts = ((np.int64(raw[row, column]) >> n.raw_down) << n.raw_up) - dark[row, column]
            total += (counts * gain[row, column] + rounding) >> 15
        rows.corrected[defects[first] - y * width] = (2 * total + number) // (2 * number)
        first += 1
    return first


@compiled
def _mark_clipped(raw, y, n, rows, first, defects):
    """Masks of saturated pixels of row ``y``, defects left out; returns how many there are."""
    width = raw.shape[1]
    limit = n.saturation
    mask = rows.clip
    slot = y & 3
    for x in range(width):
        mask[slot, x] = np.int16(-1) if raw[y, x] >= limit else np.int16(0)
    while first < defects.shape[0] and defects[first] < (y + 1) * width:
        mask[slot, defects[first] - y * width] = 0
        first += 1
    count = 0
    for x in range(width):
        count -= mask[slot, x]
    return count


@compiled
def _steady_row(state, y, n, rows):
    """Mix the corrected row into the steadied plane."""
    width = state.shape[1]
    new = rows.corrected
    if n.fresh:
        for x in range(width):
            state[y, x] = new[x]
        return
    if n.rescale != 65536:
        for x in range(width):
            state[y, x] = min(max((state[y, x] * n.rescale + 32768) >> 16, -LARGEST), LARGEST)
    share = np.int16(n.new_share)
    for x in range(width):
        old = state[y, x]
        state[y, x] = add(old, product(subtract(new[x], old), share))


@compiled
def _remember_row(state, remembered, y, n):
    """Mix the steadied row into the slow mean, in signal units."""
    scale, share = np.float32(n.remember_scale), np.float32(n.remember_share)
    for x in range(state.shape[1]):
        old = remembered[y, x]
        remembered[y, x] = old + share * (np.float32(state[y, x]) * scale - old)


@compiled
def _smooth_row(state, y, n, rows):
    """3 x 3 binomial mean of row ``y`` into the ring; roundings go up and down in turn so that they cancel."""
    height, width = state.shape
    slot = y & (RING - 1)
    before, after = max(y - 1, 0), min(y + 1, height - 1)
    out, column = rows.smoothed, rows.column
    if n.smooth:
        for x in range(width):
            column[x + 1] = mean_low(mean_high(state[before, x], state[after, x]), state[y, x])
        column[0], column[width + 1] = column[1], column[width]
        for x in range(width):
            out[slot, x] = mean_high(mean_low(column[x], column[x + 2]), column[x + 1])
    else:
        for x in range(width):
            out[slot, x] = state[y, x]
        before = after = y
    if rows.clip_any[before & 3] | rows.clip_any[y & 3] | rows.clip_any[after & 3]:
        _spread_clipped(before, y, after, width, n, rows)
    if width & 1:
        out[slot, width] = out[slot, width - 1]


@compiled
def _spread_clipped(before, y, after, width, n, rows):
    """Write CLIPPED over every smoothed pixel that a saturated one went into."""
    clip, column, out = rows.clip, rows.column_clip, rows.smoothed
    slot = y & (RING - 1)
    limit = np.int16(CLIPPED)
    for x in range(width):
        column[x + 1] = either(either(clip[before & 3, x], clip[y & 3, x]), clip[after & 3, x])
    column[0], column[width + 1] = column[1], column[width]
    if n.smooth:
        for x in range(width):
            found = either(either(column[x], column[x + 2]), column[x + 1])
            out[slot, x] = chosen(found, limit, out[slot, x])
    else:
        for x in range(width):
            out[slot, x] = chosen(column[x + 1], limit, out[slot, x])


@compiled
def _toned(value, limit, shift, share):
    """Brightness, 16384 for full, of a smoothed value: the least of three straight lines (``colour.TONE_KNOTS``)."""
    x = greater(product(up(lesser(value, limit), shift), share), np.int16(0))
    low = up(lesser(x, np.int16(4096)), np.int16(2))
    middle = add(add(x, product(x, np.int16(10923))), np.int16(2731))
    high = add(product(x, np.int16(21845)), np.int16(5461))
    return lesser(lesser(lesser(low, middle), high), np.int16(16384))


@compiled
def _grey_row(smoothed, row, width, slot, n, rows):
    limit, shift, share = np.int16(n.tone_limit), np.int16(n.tone_shift), np.int16(n.tone_share)
    luma = rows.luma
    for x in range(width):
        luma[slot, x] = product(_toned(smoothed[row, x], limit, shift, share), np.int16(510))


@compiled
def _above_baseline_row(smoothed, row, width, baseline, baseline_row, n, rows):
    """Smoothed value above the baseline, into ``rows.above``."""
    above = rows.above
    if n.with_baseline:
        last = min(width, baseline.shape[1])
        for x in range(last):
            above[x] = subtract(lesser(smoothed[row, x], np.int16(LARGEST)), baseline[baseline_row, x])
        for x in range(last, width):
            above[x] = above[last - 1]
    else:
        for x in range(width):
            above[x] = smoothed[row, x]


@compiled
def _percent_row(smoothed, row, width, which, n, rows):
    """Percent of the reference, in 32nds, of the values above the baseline."""
    limit, shift, share = np.int16(n.percent_limit), np.int16(n.percent_shift), np.int16(n.percent_share)
    lowest = np.int16(-n.percent_limit)
    top = np.int16(LARGEST_PERCENT)
    above, percent = rows.above, rows.percent
    for x in range(width):
        value = product(up(greater(lesser(above[x], limit), lowest), shift), share)
        value = greater(lesser(value, top), np.int16(-LARGEST_PERCENT))
        percent[which, x] = chosen(is_above(smoothed[row, x], np.int16(LARGEST)), top, value)


@compiled
def _coloured_row(smoothed, row, width, slot, which, n, rows):
    """Luma of the map over grey."""
    limit, shift, share = np.int16(n.tone_limit), np.int16(n.tone_shift), np.int16(n.tone_share)
    clear, ramp, slope = np.int16(n.clear), np.int16(n.ramp), np.int16(n.cover_slope)
    top, scale_shift = np.int16(n.scale_top), np.int16(n.scale_shift)
    middle, stretch = np.int16(n.scale_middle), np.int16(n.scale_stretch)
    a, b, c = np.int16(n.luma_0), np.int16(n.luma_1), np.int16(n.luma_2)
    d, e = np.int16(n.luma_3), np.int16(n.luma_4)
    none = np.int16(0)
    luma, percent = rows.luma, rows.percent
    for x in range(width):
        grey = _toned(smoothed[row, x], limit, shift, share)
        p = percent[which, x]
        cover = times(greater(lesser(subtract(p, clear), ramp), none), slope)
        z = subtract(up(greater(lesser(p, top), none), scale_shift), middle)
        z = add(z, product(z, stretch))
        z = up(greater(lesser(z, np.int16(LARGEST)), np.int16(-LARGEST)), np.int16(1))
        colour = add(a, product(z, add(b, product(z, add(c, product(z, add(d, product(z, e))))))))
        luma[slot, x] = product(add(grey, product(subtract(colour, grey), cover)), np.int16(510))


@compiled
def _block_row(j, blocks, least, chroma_table, n, rows):
    """Percent, contour band, marks and chroma of the blocks of two rows."""
    slot = j & 3
    percent, mean = rows.percent_words, rows.block_percent
    for i in range(blocks):
        first = add(low_half(percent[0, i]), high_half(percent[0, i]))
        second = add(low_half(percent[1, i]), high_half(percent[1, i]))
        mean[i] = down(add(add(first, second), np.int16(2)), np.int16(2))
    a, b, c, d = np.int16(n.level_0), np.int16(n.level_1), np.int16(n.level_2), np.int16(n.level_3)
    band, place = rows.band, rows.place
    for i in range(blocks):
        p = mean[i]
        reached = add(add(is_at_least(p, a), is_at_least(p, b)), add(is_at_least(p, c), is_at_least(p, d)))
        band[slot, i + 1] = subtract(np.int16(0), reached)
    band[slot, 0], band[slot, blocks + 1] = band[slot, 1], band[slot, blocks]
    limit, shift, share = np.int16(n.percent_limit), np.int16(n.percent_shift), np.int16(n.percent_share)
    too_dark = rows.too_dark
    for i in range(blocks):
        wanted = product(up(lesser(least[j, i], limit), shift), share)
        too_dark[slot, i] = is_above(wanted, mean[i])
        place[i] = down(greater(mean[i], np.int16(0)), np.int16(CHROMA_SHIFT))
    chroma = rows.chroma
    for i in range(blocks):
        chroma[slot, i] = chroma_table[place[i]]


@compiled
def _over_row(j, words, row_0, row_1, blocks, rows):
    """Masks of blocks that hold a clipped pixel."""
    over = rows.over
    slot = j & 3
    largest = np.int16(LARGEST)
    for i in range(blocks):
        first = greater(low_half(words[row_0, i]), high_half(words[row_0, i]))
        second = greater(low_half(words[row_1, i]), high_half(words[row_1, i]))
        over[slot, i] = is_above(greater(first, second), largest)


@compiled
def _finish_relative(j, half_rows, blocks, offset, stripes, dots, light, dark, n, rows, y_words, u, v):
    """Lay strokes and marks over block row ``j`` and write its two rows of Y and its row of U and V."""
    slot, before, after = j & 3, max(j - 1, 0) & 3, min(j + 1, half_rows - 1) & 3
    band, most, least = rows.band, rows.most, rows.least
    for i in range(blocks + 2):
        most[i] = greater(greater(band[before, i], band[slot, i]), band[after, i])
        least[i] = lesser(lesser(band[before, i], band[slot, i]), band[after, i])
    light_word, dark_word = np.int16(light), np.int16(dark)
    ink, marked = rows.block_percent, rows.place
    pattern = j & 7
    for i in range(blocks):
        here = band[slot, i + 1]
        is_light = is_above(here, lesser(lesser(least[i], least[i + 1]), least[i + 2]))
        is_dark = is_above(greater(greater(most[i], most[i + 1]), most[i + 2]), here)
        word = chosen(is_light, light_word, both(is_dark, dark_word))
        word = chosen(rows.too_dark[slot, i], dots[pattern, i], word)
        word = chosen(rows.over[slot, i], stripes[pattern, i], word)
        ink[i] = word
        marked[i] = either(either(either(is_light, is_dark), rows.too_dark[slot, i]), rows.over[slot, i])
    _write_luma(j, blocks, offset, rows, y_words)
    chroma = rows.chroma
    for i in range(blocks):
        pair = chosen(marked[i], np.int16(-32640), chroma[slot, i])
        u[j, offset + i] = pair
        v[j, offset + i] = down_unsigned(pair, np.int16(8))


@compiled
def _finish_grey(j, blocks, offset, stripes, rows, y_words, u, v):
    """Lay the stripes over block row ``j`` and write its two rows of Y; U and V are neutral."""
    over, ink = rows.over, rows.block_percent
    slot, pattern = j & 3, j & 7
    for i in range(blocks):
        ink[i] = both(over[slot, i], stripes[pattern, i])
    _write_luma(j, blocks, offset, rows, y_words)
    for i in range(blocks):
        u[j, offset + i] = 128
        v[j, offset + i] = 128


@compiled
def _write_luma(j, blocks, offset, rows, y_words):
    """Two rows of Y, two pixels a word: the ink where there is some, else the luma."""
    ink, luma = rows.block_percent, rows.luma_words
    slot = (2 * j) & 3
    for row in range(2):
        for i in range(blocks):
            y_words[2 * j + row, offset + i] = chosen(ink[i], ink[i], luma[slot + row, i])


@compiled
def _paint(j, plane, words, row_0, row_1, width, baseline, baseline_0, baseline_1, least, table, n, rows):
    """First half of block row ``j``: everything that needs no neighbouring block row."""
    blocks = width // 2
    slot = (2 * j) & 3
    _over_row(j, words, row_0, row_1, blocks, rows)
    if n.relative:
        _above_baseline_row(plane, row_0, width, baseline, baseline_0, n, rows)
        _percent_row(plane, row_0, width, 0, n, rows)
        _coloured_row(plane, row_0, width, slot, 0, n, rows)
        _above_baseline_row(plane, row_1, width, baseline, baseline_1, n, rows)
        _percent_row(plane, row_1, width, 1, n, rows)
        _coloured_row(plane, row_1, width, slot + 1, 1, n, rows)
        _block_row(j, blocks, least, table, n, rows)
    else:
        _grey_row(plane, row_0, width, slot, n, rows)
        _grey_row(plane, row_1, width, slot + 1, n, rows)


@compiled
def _finish(j, half_rows, blocks, offset, stripes, dots, light, dark, n, rows, y_words, u, v):
    """Second half of block row ``j``, once the block row after it is painted."""
    if n.relative:
        _finish_relative(j, half_rows, blocks, offset, stripes, dots, light, dark, n, rows, y_words, u, v)
    else:
        _finish_grey(j, blocks, offset, stripes, rows, y_words, u, v)


@compiled
def _advance(upto, done, first, raw, dark, gain, defects, starts, sources, state, remembered, n, rows):
    """Correct and steady rows until ``upto``; returns rows done, the next defect, and saturated pixels met."""
    clipped = 0
    while done <= upto:
        largest = _correct_row(raw, dark, gain, done, n, rows)
        following = _replace_defects(raw, dark, gain, done, n, rows, first, defects, starts, sources)
        if largest >= n.saturation:
            rows.clip_any[done & 3] = _mark_clipped(raw, done, n, rows, first, defects)
            clipped += rows.clip_any[done & 3]
        elif rows.clip_any[done & 3]:
            rows.clip[done & 3, :] = 0
            rows.clip_any[done & 3] = 0
        first = following
        _steady_row(state, done, n, rows)
        if (done & 3) == n.remember_phase:
            _remember_row(state, remembered, done, n)
        done += 1
    return done, first, clipped


@compiled
def draw_whole(
    raw, dark, gain, defects, starts, sources, state, remembered, baseline, least, table, stripes, dots, light_word, dark_word, n,
    rows, y_words, u, v,
):  # fmt: skip
    """One frame to full-size planes; returns how many pixels are saturated."""
    height = raw.shape[0]
    half_rows, blocks = u.shape
    done, first, clipped = 0, 0, 0
    for j in range(half_rows):
        for y in range(2 * j, min(2 * j + 2, height)):
            done, first, more = _advance(
                min(y + 1, height - 1),
                done,
                first,
                raw,
                dark,
                gain,
                defects,
                starts,
                sources,
                state,
                remembered,
                n,
                rows,
            )
            clipped += more
            _smooth_row(state, y, n, rows)
        y_0, y_1 = 2 * j, min(2 * j + 1, height - 1)
        row_0, row_1 = y_0 & (RING - 1), y_1 & (RING - 1)
        smoothed, words = rows.smoothed, rows.smoothed_words
        _paint(j, smoothed, words, row_0, row_1, 2 * blocks, baseline, y_0, y_1, least, table, n, rows)
        if j:
            _finish(j - 1, half_rows, blocks, 0, stripes, dots, light_word, dark_word, n, rows, y_words, u, v)
    _finish(half_rows - 1, half_rows, blocks, 0, stripes, dots, light_word, dark_word, n, rows, y_words, u, v)
    return clipped


@compiled
def _halve(rows, row_0, row_1, half, at):
    """Mean of 2 x 2 smoothed values into row ``at`` of the half-size plane, CLIPPED where one of them is."""
    words = rows.smoothed_words
    largest, limit = np.int16(LARGEST), np.int16(CLIPPED)
    for i in range(half.shape[1]):
        a, b = low_half(words[row_0, i]), high_half(words[row_0, i])
        c, d = low_half(words[row_1, i]), high_half(words[row_1, i])
        over = is_above(greater(greater(a, b), greater(c, d)), largest)
        half[at, i] = chosen(over, limit, mean_high(mean_low(a, b), mean_low(c, d)))


@compiled
def halve_whole(raw, dark, gain, defects, starts, sources, state, remembered, half, n, rows):
    """One frame to a half-size plane of smoothed values; returns how many pixels are saturated."""
    height = raw.shape[0]
    done, first, clipped = 0, 0, 0
    for j in range(half.shape[0]):
        for y in range(2 * j, 2 * j + 2):
            done, first, more = _advance(
                min(y + 1, height - 1),
                done,
                first,
                raw,
                dark,
                gain,
                defects,
                starts,
                sources,
                state,
                remembered,
                n,
                rows,
            )
            clipped += more
            _smooth_row(state, y, n, rows)
        _halve(rows, (2 * j) & (RING - 1), (2 * j + 1) & (RING - 1), half, j)
    done, first, more = _advance(
        height - 1, done, first, raw, dark, gain, defects, starts, sources, state, remembered, n, rows
    )
    return clipped + more


@compiled
def draw_half(
    half, half_words, baseline, least, table, stripes, dots, light_word, dark_word, n, rows, offset, half_rows, y_words, u, v
):  # fmt: skip
    """A half-size plane into the planes' columns from block ``offset`` on."""
    height, width = half.shape
    blocks = width // 2
    for j in range(half_rows):
        row_0, row_1 = 2 * j, min(2 * j + 1, height - 1)
        _paint(j, half, half_words, row_0, row_1, width, baseline, row_0, row_1, least, table, n, rows)
        if j:
            _finish(j - 1, half_rows, blocks, offset, stripes, dots, light_word, dark_word, n, rows, y_words, u, v)
    _finish(half_rows - 1, half_rows, blocks, offset, stripes, dots, light_word, dark_word, n, rows, y_words, u, v)
