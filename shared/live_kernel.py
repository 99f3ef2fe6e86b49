"""The live picture in one pass over the frame, in 16-bit whole numbers: the loops over rows.

Rows flow through buffers that stay in the first-level cache: corrected row -> steadied plane -> smoothed rows -> a row of blocks
(2 x 2 pixels) with percent, colour, contour bands and marks -> luma rows -> finished rows of the Y, U and V planes. All values
are int16: corrected counts times a fixed scale, percent as 4096 for the full scale, luma as 32 a grey level. ``fused_picture``
prepares the numbers, ``live_passes`` runs the loops.

A smoothed value of CLIPPED stands for "a saturated pixel is in it".
"""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

from typing import TypedDict

import numpy as np

from shared.lanes import (
    add,
    add_limited,
    ask,
    blended,
    both,
    chosen,
    compiled,
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
    nearest_part,
    part,
    part_unsigned,
    subtract,
    times,
    up,
)

CLIPPED = 32767
LARGEST = 16383
FULL_SCALE = 4096
WHITE = 255 * 32
CHROMA_UNIT = 8
TWO_THIRDS = 43691 - 65536  # of 65536, as the int16 with these bits


class Numbers(TypedDict, total=False):
    """Numbers of one frame. ``_shift``, ``_limit`` and ``_share`` together multiply: min(a, limit) 2^shift share / 2^16."""

    raw_down: int
    raw_up: int
    saturation: int
    fresh: int  # 1: this frame stands alone; 0: mixed into the steadied plane
    old_first: int  # 1: the mean is the old value and a share of the step to the new one; 0: the other way round
    lesser_share: int  # minus the smaller of the two shares, in 65536ths
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
    luma_0: int
    luma_1: int
    luma_2: int
    luma_3: int
    luma_4: int
    blue_0: int
    blue_1: int
    blue_2: int
    blue_3: int
    blue_4: int
    blue_5: int
    red_0: int
    red_1: int
    red_2: int
    red_3: int
    red_4: int
    red_5: int
    level_0: int
    level_1: int
    level_2: int
    level_3: int
    remember_phase: int  # rows y with y % 8 equal to this are remembered
    by_percent: float  # a block's variance is, over its flat, this times its percentage ...
    by_still: float  # ... and this over its flat ...
    by_baseline: float  # ... and this times its baseline
    by_reference: float  # share of a percentage's square that the reference's uncertainty adds
    least_squared: float  # least signal to noise, squared
    widest_squared: float  # widest standard uncertainty, squared
    most_inverse_flat: float  # greatest over all blocks
    most_baseline: float  # greatest over all blocks, 0 without one
    remember_scale: float
    remember_share: float


RECORD = np.dtype([(name, np.float64 if kind is float else np.int64) for name, kind in Numbers.__annotations__.items()])
"""The same as the compiled loops take them: their cache on disk cannot outlive a renamed class but does outlive a record."""


LANES = 32
"""As many int16 as the widest vectors hold."""

# Scratch rows: one int16 array, so that nothing but numbers and a few arrays is handed from loop to loop, and as few of them as
# possible, so that they stay in the first-level cache. Names are the first row of each kind. A loop touches few rows, because the
# compiler leaves one alone that would need more than eight checks for overlap.
CLIP = 0  # sixteen rows of masks, for row y in CLIP + y % 16
CLIP_ROWS = 16
# column y % 16: how many pixels of row y are saturated; column 16 + y % 2: whether CLIPPED is anywhere in SMOOTHED;
# column MARKS + j % 2: whether block row j has any mark
CLIP_ANY = 16
MARKS = 18
COLUMN = 17
SMOOTHED = 18  # two, for the two rows of a block
PERCENT = 20  # of blocks
LUMA = 21  # four, as bytes
BAND = 25  # four, from column 1 on
TOO_DARK = 29  # two
OVER = 31  # two
CHROMA = 33  # two
MEAN = 35  # of the smoothed values of blocks, above the baseline
MARKED = 36
MOST = 37
LEAST = 38
MENDED = 39
STROKE = 40
UNSURE = 41  # two
COLOUR = 43  # luma of the map, of blocks
COVER = 44  # of 32767, of blocks
SCRATCH_ROWS = 45
RUN = 128
"""Columns that are steadied at a time. What the next row needs is asked for beforehand, since what comes by itself ends at each
page; so are the rows of luma that are written next. Together 2.9 ms of drawing became 2.5 (by turns, busy machine)."""
AHEAD = 14
"""Rows are steadied so many at a time, since memory gives long runs faster than short ones; at most CLIP_ROWS - 2."""


@compiled
def whole_lanes(columns):
    """So many columns, or a few more so that the last vector is whole. What scratch rows hold beyond the picture is never shown."""
    return (columns + LANES - 1) & -LANES


@compiled
def _mixed(old, new, old_first, share):
    """Recursive mean of two values; see ``Numbers.old_first``."""
    if old_first:
        return add(old, nearest_part(subtract(old, new), share))
    return add(new, nearest_part(subtract(new, old), share))


@compiled
def steady_row(raw, dark, gain, state, y, n):
    """Counts above dark over the flat, mixed into the steadied plane; returns the largest raw count."""
    shift_down, shift_up = np.int16(n.raw_down), np.int16(n.raw_up)
    share = np.int16(n.lesser_share)
    largest, width = np.uint16(0), raw.shape[1]
    for first in range(0, width, RUN):
        for at in range(first, first + RUN, LANES):
            ask(raw, y + 1, at)
            ask(dark, y + 1, at)
            ask(gain, y + 1, at)
            ask(state, y + 1, at)
        start = np.uintp(first)  # an unsigned column needs no test for counting from the end
        run = min(RUN, width - first)
        if n.fresh:
            for i in range(run):
                x = start + np.uintp(i)
                value = raw[y, x]
                shifted = up(down_unsigned(np.int16(value), shift_down), shift_up)
                state[y, x] = part(subtract(shifted, dark[y, x]), gain[y, x])
                largest = max(largest, value)
        elif n.old_first:
            for i in range(run):
                x = start + np.uintp(i)
                value = raw[y, x]
                shifted = up(down_unsigned(np.int16(value), shift_down), shift_up)
                state[y, x] = _mixed(state[y, x], part(subtract(shifted, dark[y, x]), gain[y, x]), True, share)
                largest = max(largest, value)
        else:
            for i in range(run):
                x = start + np.uintp(i)
                value = raw[y, x]
                shifted = up(down_unsigned(np.int16(value), shift_down), shift_up)
                state[y, x] = _mixed(state[y, x], part(subtract(shifted, dark[y, x]), gain[y, x]), False, share)
                largest = max(largest, value)
    return np.int64(largest)


@compiled
def rescale_row(state, y, n):
    """Bring the steadied row to the exposure, gain and light of this frame."""
    for x in range(state.shape[1]):
        state[y, x] = min(max((state[y, x] * n.rescale + 32768) >> 16, -LARGEST), LARGEST)


@compiled
def mend_defects(raw, dark, gain, state, y, n, lines, first, defects, starts, sources):
    """Steadied values of the defects of row ``y`` from their good neighbours, into MENDED; returns the next row's first."""
    width = raw.shape[1]
    share = np.int16(n.lesser_share)
    at = 0
    while first < defects.shape[0] and defects[first] < (y + 1) * width:
        total = 0
        number = np.int64(starts[first + 1] - starts[first])
        for source in range(starts[first], starts[first + 1]):
            row, column = sources[source] // width, sources[source] % width
            counts = ((np.int64(raw[row, column]) >> n.raw_down) << n.raw_up) - dark[row, column]
            total += (counts * gain[row, column]) >> 16
        new = np.int16((2 * total + number) // (2 * number))
        if not n.fresh:
            new = _mixed(state[y, defects[first] - y * width], new, n.old_first, share)
        lines[MENDED, at] = new
        at += 1
        first += 1
    return first


@compiled
def put_mended(state, y, lines, first, following, defects):
    """Write what ``mend_defects`` found into the steadied plane."""
    width = state.shape[1]
    for at in range(following - first):
        state[y, defects[first + at] - y * width] = lines[MENDED, at]


@compiled
def mark_clipped(raw, y, n, lines, first, defects):
    """Masks of saturated pixels of row ``y``, defects left out; returns how many there are."""
    width = raw.shape[1]
    limit = np.uint16(n.saturation)
    slot = CLIP + y % CLIP_ROWS
    for x in range(width):
        lines[slot, x] = np.int16(-1) if raw[y, x] >= limit else np.int16(0)
    while first < defects.shape[0] and defects[first] < (y + 1) * width:
        lines[slot, defects[first] - y * width] = 0
        first += 1
    count = 0
    for x in range(width):
        count -= lines[slot, x]
    lines[CLIP_ANY, y % CLIP_ROWS] = count
    return count


@compiled
def remember_row(state, remembered, y, n):
    """Mix the steadied row into the slow mean, in signal units."""
    scale, share = np.float32(n.remember_scale), np.float32(n.remember_share)
    for x in range(state.shape[1]):
        old = remembered[y, x]
        remembered[y, x] = old + share * (np.float32(state[y, x]) * scale - old)


@compiled
def smooth_row(state, y, n, lines):
    """3 x 3 binomial mean of row ``y`` into the ring; roundings go up and down in turn so that they cancel."""
    height, width = state.shape
    slot = SMOOTHED + (y & 1)
    before, after = max(y - 1, 0), min(y + 1, height - 1)
    one = np.int16(1)
    if n.smooth:
        for x in range(width):
            outer = down(add(add(state[before, x], state[after, x]), one), one)
            lines[COLUMN, x + 1] = down(add(outer, state[y, x]), one)
        lines[COLUMN, 0], lines[COLUMN, width + 1] = lines[COLUMN, 1], lines[COLUMN, width]
        for x in range(whole_lanes(width)):
            outer = down(add(lines[COLUMN, x], lines[COLUMN, x + 2]), one)
            lines[slot, x] = down(add(add(outer, lines[COLUMN, x + 1]), one), one)
    else:
        for x in range(width):
            lines[slot, x] = state[y, x]
        before = after = y
    lines[CLIP_ANY, CLIP_ROWS + (y & 1)] = (
        lines[CLIP_ANY, before % CLIP_ROWS] | lines[CLIP_ANY, y % CLIP_ROWS] | lines[CLIP_ANY, after % CLIP_ROWS]
    )
    if lines[CLIP_ANY, CLIP_ROWS + (y & 1)]:
        _spread_clipped(before, y, after, width, n, lines)
    if width & 1:
        lines[slot, width] = lines[slot, width - 1]


@compiled
def _spread_clipped(before, y, after, width, n, lines):
    """Write CLIPPED over every smoothed pixel that a saturated one went into."""
    slot = SMOOTHED + (y & 1)
    first, second, third = CLIP + before % CLIP_ROWS, CLIP + y % CLIP_ROWS, CLIP + after % CLIP_ROWS
    limit = np.int16(CLIPPED)
    for x in range(width):
        lines[COLUMN, x + 1] = either(either(lines[first, x], lines[second, x]), lines[third, x])
    lines[COLUMN, 0] = lines[COLUMN, 1]
    lines[COLUMN, width + 1] = lines[COLUMN, width]
    if n.smooth:
        for x in range(width):
            found = either(either(lines[COLUMN, x], lines[COLUMN, x + 2]), lines[COLUMN, x + 1])
            lines[slot, x] = blended(found, limit, lines[slot, x])
    else:
        for x in range(width):
            lines[slot, x] = blended(lines[COLUMN, x + 1], limit, lines[slot, x])


@compiled
def _toned(value, limit, shift, share):
    """Brightness of a smoothed value: the lesser of two straight lines (``colour.TONE_KNOTS``). ``limit`` is worth WHITE."""
    x = greater(part(up(lesser(value, limit), shift), share), np.int16(0))
    dark = times(lesser(x, np.int16(1024)), np.int16(12))
    return lesser(dark, add(part_unsigned(x, np.int16(TWO_THIRDS)), np.int16(WHITE // 3)))


@compiled
def _byte(brightness):
    """0 to 255 for 0 to WHITE, rounded."""
    return down(add(brightness, np.int16(16)), np.int16(5))


@compiled
def grey_row(smoothed, row, width, to, n, line_bytes):
    """Luma of the grey picture, into scratch row ``to``."""
    limit, shift, share = np.int16(n.tone_limit), np.int16(n.tone_shift), np.int16(n.tone_share)
    for x in range(whole_lanes(width)):
        line_bytes[to, x] = _byte(_toned(smoothed[row, x], limit, shift, share))


@compiled
def mean_row(j, words, row_0, row_1, blocks, any_clipped, baseline, n, lines):
    """Means of the 2 x 2 smoothed values of block row ``j`` above their baseline; CLIPPED where a saturated pixel is in one."""
    for i in range(blocks):
        a, b = low_half(words[row_0, i]), high_half(words[row_0, i])
        c, d = low_half(words[row_1, i]), high_half(words[row_1, i])
        lines[MEAN, i] = mean_high(mean_low(a, b), mean_low(c, d))
    if n.with_baseline:
        for i in range(blocks):
            lines[MEAN, i] = subtract(lines[MEAN, i], baseline[j, i])
    if any_clipped:
        limit = np.int16(CLIPPED)
        for i in range(blocks):
            lines[MEAN, i] = blended(lines[OVER + (j & 1), i], limit, lines[MEAN, i])


@compiled
def _colour_row(blocks, n, lines):
    """Luma of the map's colours and how far they cover the grey.

    Negative percentages wrap to some colour, which has no cover. The luma is a fourth-degree polynomial, each coefficient doubled
    for each product it goes through.
    """
    clear, ramp, slope = np.int16(n.clear), np.int16(n.ramp), np.int16(n.cover_slope)
    a, b, c = np.int16(n.luma_0), np.int16(n.luma_1), np.int16(n.luma_2)
    d, e = np.int16(n.luma_3), np.int16(n.luma_4)
    none, top = np.int16(0), np.int16(FULL_SCALE - 1)
    for i in range(whole_lanes(blocks)):
        p = lines[PERCENT, i]
        lines[COVER, i] = times(greater(lesser(subtract(p, clear), ramp), none), slope)
        z = add(up(lesser(p, top), np.int16(4)), np.int16(-32768))
        colour = add_limited(d, part(z, e))
        colour = add_limited(c, part(z, colour))
        colour = add_limited(b, part(z, colour))
        lines[COLOUR, i] = add_limited(a, part(z, colour))


@compiled
def covered_row(words, row, blocks, to, n, lines):
    """Luma of the map over the grey picture, into scratch row ``to``, two pixels a word."""
    limit, shift, share = np.int16(n.tone_limit), np.int16(n.tone_shift), np.int16(n.tone_share)
    one, eight = np.int16(1), np.int16(8)
    for i in range(blocks):
        colour, cover = lines[COLOUR, i], lines[COVER, i]
        left = _toned(low_half(words[row, i]), limit, shift, share)
        right = _toned(high_half(words[row, i]), limit, shift, share)
        left = _byte(add(left, part(up(subtract(colour, left), one), cover)))
        right = _byte(add(right, part(up(subtract(colour, right), one), cover)))
        lines[to, i] = either(left, up(right, eight))


@compiled
def _chroma_row(j, blocks, n, lines):
    """Chroma of block row ``j``, Cb in the lower byte and Cr in the upper: fifth-degree polynomials times the map's cover."""
    blue_0, blue_1, blue_2 = np.int16(n.blue_0), np.int16(n.blue_1), np.int16(n.blue_2)
    blue_3, blue_4, blue_5 = np.int16(n.blue_3), np.int16(n.blue_4), np.int16(n.blue_5)
    red_0, red_1, red_2 = np.int16(n.red_0), np.int16(n.red_1), np.int16(n.red_2)
    red_3, red_4, red_5 = np.int16(n.red_3), np.int16(n.red_4), np.int16(n.red_5)
    top, one = np.int16(FULL_SCALE - 1), np.int16(1)
    half, three, neutral = np.int16(CHROMA_UNIT // 2), np.int16(3), np.int16(128)
    slot = CHROMA + (j & 1)
    for i in range(whole_lanes(blocks)):
        p, cover = lines[PERCENT, i], lines[COVER, i]
        z = add(up(lesser(p, top), np.int16(4)), np.int16(-32768))
        blue = add_limited(blue_4, part(z, blue_5))
        blue = add_limited(blue_3, part(z, blue))
        blue = add_limited(blue_2, part(z, blue))
        blue = add_limited(blue_1, part(z, blue))
        blue = add_limited(blue_0, part(z, blue))
        red = add_limited(red_4, part(z, red_5))
        red = add_limited(red_3, part(z, red))
        red = add_limited(red_2, part(z, red))
        red = add_limited(red_1, part(z, red))
        red = add_limited(red_0, part(z, red))
        blue = add(down(add(part(up(blue, one), cover), half), three), neutral)
        red = add(down(add(part(up(red, one), cover), half), three), neutral)
        lines[slot, i] = either(blue, up(red, np.int16(8)))


@compiled
def block_row(j, blocks, inverse_flat, baseline, n, lines):
    """Percent, colour, contour band and marks of block row ``j``, from its means.

    Percent is FULL_SCALE for the top of the colours. ``inverse_flat`` and ``baseline`` are those of the blocks, in signal units.
    """
    slot, room = j & 3, whole_lanes(blocks)
    limit, shift, share = np.int16(n.percent_limit), np.int16(n.percent_shift), np.int16(n.percent_share)
    lowest = np.int16(-n.percent_limit)
    for i in range(room):
        lines[PERCENT, i] = part(up(greater(lesser(lines[MEAN, i], limit), lowest), shift), share)
    least = most = lines[PERCENT, 0]
    for i in range(blocks):
        least, most = lesser(least, lines[PERCENT, i]), greater(most, lines[PERCENT, i])
    a, b, c, d = np.int16(n.level_0), np.int16(n.level_1), np.int16(n.level_2), np.int16(n.level_3)
    for i in range(room):
        p = lines[PERCENT, i]
        reached = add(add(is_at_least(p, a), is_at_least(p, b)), add(is_at_least(p, c), is_at_least(p, d)))
        lines[BAND + slot, i + 1] = subtract(np.int16(0), reached)
    lines[BAND + slot, 0], lines[BAND + slot, blocks + 1] = lines[BAND + slot, 1], lines[BAND + slot, blocks]
    _colour_row(blocks, n, lines)
    _chroma_row(j, blocks, n, lines)
    if _may_be_doubtful(least, most, n):
        _doubtful_row(j, blocks, inverse_flat, baseline, n, lines)
    else:
        for i in range(room):
            lines[TOO_DARK + (j & 1), i] = lines[UNSURE + (j & 1), i] = 0


@compiled
def _may_be_doubtful(least, most, n):
    """Whether a block between these percentages could be too dark or too uncertain; both are likeliest where the flat is lowest.

    Most rows of a bright picture need not be looked at block by block.
    """
    p, q = float(least), float(max(most, -least))
    f = n.most_inverse_flat
    still = n.by_still * f + n.by_baseline * n.most_baseline
    own_of_least, own_of_most = (n.by_percent * max(p, 0.0) + still) * f, (n.by_percent * q + still) * f
    return p * abs(p) < n.least_squared * own_of_least or own_of_most + n.by_reference * q * q > n.widest_squared


@compiled
def _doubtful_row(j, blocks, inverse_flat, baseline, n, lines):
    """Masks of blocks too dark to tell from their own noise, and of those that are too uncertain, which no colour covers.

    In floats: a variance runs over more powers of two than 16 bits hold.
    """
    by_percent, by_still = np.float32(n.by_percent), np.float32(n.by_still)
    by_baseline, by_reference = np.float32(n.by_baseline), np.float32(n.by_reference)
    least, widest, nothing = np.float32(n.least_squared), np.float32(n.widest_squared), np.float32(0.0)
    dark, unsure = TOO_DARK + (j & 1), UNSURE + (j & 1)
    for i in range(blocks):
        p, f = np.float32(lines[PERCENT, i]), inverse_flat[j, i]
        above = max(p, nothing)
        still = by_still * f
        if n.with_baseline:
            still += by_baseline * baseline[j, i]
        own = (by_percent * above + still) * f
        is_dark = p * abs(p) < least * own
        is_unsure = own + by_reference * p * p > widest
        lines[dark, i] = np.int16(-1) if is_dark else np.int16(0)
        lines[unsure, i] = np.int16(-1) if is_unsure else np.int16(0)
    found = found_dark = nothing_covers = np.int16(0)
    for i in range(blocks):
        found = either(found, lines[unsure, i])
        found_dark = either(found_dark, lines[dark, i])
    lines[CLIP_ANY, MARKS + (j & 1)] |= either(found, found_dark)
    if found:
        for i in range(blocks):
            lines[COVER, i] = blended(lines[unsure, i], nothing_covers, lines[COVER, i])


@compiled
def over_row(j, words, row_0, row_1, blocks, lines):
    """Masks of blocks that hold a clipped pixel."""
    largest = np.int16(LARGEST)
    for i in range(blocks):
        first = greater(low_half(words[row_0, i]), high_half(words[row_0, i]))
        second = greater(low_half(words[row_1, i]), high_half(words[row_1, i]))
        lines[OVER + (j & 1), i] = is_above(greater(first, second), largest)


@compiled
def finish_relative(j, half_rows, blocks, offset, stripes, dots, dashes, light, dark, n, lines, y_words, u, v):
    """Lay strokes and marks over block row ``j`` and write its two rows of Y and its row of U and V."""
    slot = j & 1
    before, here_row, after = BAND + (max(j - 1, 0) & 3), BAND + (j & 3), BAND + (min(j + 1, half_rows - 1) & 3)
    room = whole_lanes(blocks)
    for i in range(room + LANES):
        lines[MOST, i] = greater(greater(lines[before, i], lines[here_row, i]), lines[after, i])
        lines[LEAST, i] = lesser(lesser(lines[before, i], lines[here_row, i]), lines[after, i])
    light_word, dark_word = np.int16(light), np.int16(dark)
    pattern, too_dark, unsure, over, chroma = j & 7, TOO_DARK + slot, UNSURE + slot, OVER + slot, CHROMA + slot
    for i in range(room):
        here = lines[here_row, i + 1]
        is_light = is_above(here, lesser(lesser(lines[LEAST, i], lines[LEAST, i + 1]), lines[LEAST, i + 2]))
        is_dark = is_above(greater(greater(lines[MOST, i], lines[MOST, i + 1]), lines[MOST, i + 2]), here)
        lines[STROKE, i] = chosen(is_light, light_word, both(is_dark, dark_word))
    marked = STROKE
    if lines[CLIP_ANY, MARKS + slot]:
        marked = MARKED
        for i in range(blocks):
            lines[MARKED, i] = either(either(lines[STROKE, i], lines[unsure, i]), lines[too_dark, i])
            lines[STROKE, i] = blended(lines[unsure, i], dashes[pattern, i], lines[STROKE, i])
        for i in range(blocks):
            word = blended(lines[too_dark, i], dots[pattern, i], lines[STROKE, i])
            lines[STROKE, i] = blended(lines[over, i], stripes[pattern, i], word)
        for i in range(room):
            lines[MARKED, i] = either(lines[MARKED, i], lines[over, i])
    _write_luma(j, blocks, offset, STROKE, lines, y_words)
    start = np.uintp(offset)  # an unsigned column needs no test for counting from the end
    for i in range(blocks):
        pair = chosen(lines[marked, i], np.int16(-32640), lines[chroma, i])
        u[j, start + np.uintp(i)] = pair
        v[j, start + np.uintp(i)] = down_unsigned(pair, np.int16(8))


@compiled
def finish_grey(j, blocks, offset, stripes, lines, y_words, u, v):
    """Lay the stripes over block row ``j`` and write its two rows of Y; U and V are neutral."""
    slot, pattern = j & 1, j & 7
    for i in range(blocks):
        lines[MEAN, i] = both(lines[OVER + slot, i], stripes[pattern, i])
    _write_luma(j, blocks, offset, MEAN, lines, y_words)
    start = np.uintp(offset)  # an unsigned column needs no test for counting from the end
    for i in range(blocks):
        u[j, start + np.uintp(i)] = 128
        v[j, start + np.uintp(i)] = 128


@compiled
def _write_luma(j, blocks, offset, ink, lines, y_words):
    """Two rows of Y, two pixels a word: the ink where there is some, else the luma."""
    slot = (2 * j) & 3
    start = np.uintp(offset)
    for row in range(2, 4):
        for i in range(0, blocks, LANES):
            ask(y_words, 2 * j + row, offset + i)
    for row in range(2):
        for i in range(blocks):
            y_words[2 * j + row, start + np.uintp(i)] = chosen(
                lines[ink, i], lines[ink, i], lines[LUMA + slot + row, i]
            )
