"""One pass from scene to counts, row by row, so that rehearsal is live on one core.

Every random number is a hash of (seed, frame, row, column): a frame is the same whenever and in whatever order it is drawn.
The plain composition of the same physics is ``truth.py``; tests hold the two together.
"""

import math
from typing import Any

import numpy as np
from numba import njit, uint32, uint64
from numpy.typing import NDArray

NORMAL_BITS = 12
_SHIFT = 32 - NORMAL_BITS

Word = int | np.unsignedinteger[Any]
U8 = NDArray[np.uint8]
U16 = NDArray[np.uint16]
I16 = NDArray[np.int16]
I32 = NDArray[np.int32]
U32 = NDArray[np.uint32]
F32 = NDArray[np.float32]

SENSITIVITY_STEP = 1.0 / 60000.0
"""Value of one step of the 16-bit sensitivity planes; 1 is 60000, so that single pixels may exceed it by 9 %."""
DARK_STEP_COUNTS = 1.0 / 16.0
"""Value of one step of the dark plane, which is 16-bit unsigned."""
SHARE_STEP = 1.0 / 255.0
SURFACE_STEP = 1.0 / 128.0
"""Value of one step of the mottle and reflectance planes (8 bit, so 0 to 1.99)."""


@njit(inline="always")
def _mixed64(x: Word) -> Word:
    """Finaliser of SplitMix64 (Steele, Lea, Flood 2014)."""
    x = uint64(x)
    x = (x ^ (x >> uint64(30))) * uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> uint64(27))) * uint64(0x94D049BB133111EB)
    return uint64(x ^ (x >> uint64(31)))


@njit(inline="always")
def _mixed32(x: Word, key: Word) -> Word:
    """Keyed 32-bit mix: two multiply-xorshift rounds around a second key word."""
    x = uint32(uint32(x ^ uint32(x >> uint32(16))) * uint32(0x7FEB352D))
    x = uint32(uint32(x + key) ^ uint32(x >> uint32(15)))
    x = uint32(x * uint32(0x846CA68B))
    return uint32(x ^ uint32(x >> uint32(16)))


@njit(inline="always")
def _fill_emission(
    row: int,
    run_starts: I32,
    run_ends: I32,
    run_numbers: U8,
    tissue_shares: U8,
    mottle: U8,
    reflectance: U8,
    levels: F32,
    leakage: float,
    row_starts: I32,
    columns: I32,
    shares: F32,
    slots: I32,
    slot_levels: F32,
    out: F32,
) -> None:
    """Fill ``out`` with what one canvas row sends back at full light: fluorescence and leaked excitation, in levels."""
    leak = np.float32(leakage * SURFACE_STEP)
    shares_of_second, shares_of_third = tissue_shares[0, row], tissue_shares[1, row]
    mottles, reflectances = mottle[row], reflectance[row]
    begin = 0
    for run in range(run_starts[row], run_starts[row + 1]):
        end = run_ends[run]
        a, b, c = levels[run_numbers[run, 0]], levels[run_numbers[run, 1]], levels[run_numbers[run, 2]]
        base = np.float32(a * np.float32(SURFACE_STEP))
        if run_numbers[run, 0] == run_numbers[run, 2]:
            for x in range(begin, end):
                out[x] = base * np.float32(mottles[x]) + leak * np.float32(reflectances[x])
        else:
            second = np.float32((b - a) * np.float32(SURFACE_STEP * SHARE_STEP))
            third = np.float32((c - a) * np.float32(SURFACE_STEP * SHARE_STEP))
            for x in range(begin, end):
                level = base + second * np.float32(shares_of_second[x]) + third * np.float32(shares_of_third[x])
                out[x] = level * np.float32(mottles[x]) + leak * np.float32(reflectances[x])
        begin = end
    for k in range(row_starts[row], row_starts[row + 1]):
        out[columns[k]] += shares[k] * slot_levels[slots[k]]


@njit(inline="always")
def _draw_normals(row_key: Word, normal: F32, hashes: U32, out: F32) -> None:
    """Fill ``out`` with one row's standard normal numbers: quantiles looked up by the hash of the column."""
    key0 = uint32(row_key)
    key1 = uint32(row_key >> uint64(32))
    for x in range(out.size):
        hashes[x] = _mixed32(uint32(x) ^ key0, key1) >> uint32(_SHIFT)
    for x in range(out.size):
        out[x] = normal[hashes[x]]


@njit(inline="always")
def _expose(
    emission: F32,
    normals: F32,
    light: float,
    ambient: float,
    dark_electrons: float,
    lit_sensitivity: U16,
    sensitivity: U16,
    dark: U16,
    read_variance_e2: float,
    counts_per_electron: float,
    white: int,
    out: U16,
) -> None:
    """Turn one row of emission into counts: photons, their noise, the amplifier's, dark level, rounding, clipping.

    ``light`` and ``ambient`` are electrons a level for this row. The electron number is a quadratic of one normal number whose
    mean, variance and skewness are those of a Poisson number plus Gaussian read noise. Its distribution lies within 0.02 of the
    exact one (Kolmogorov) at half an electron and 1 e of read noise, 0.01 from 4 electrons, 0.004 from 60 (measured; tested).
    """
    lit = np.float32(light * SENSITIVITY_STEP)
    unlit = np.float32(ambient * SENSITIVITY_STEP)
    dark_e = np.float32(dark_electrons)
    read2 = np.float32(read_variance_e2)
    k = np.float32(counts_per_electron)
    step = np.float32(DARK_STEP_COUNTS)
    top = np.float32(white) + np.float32(0.5)
    for x in range(out.size):
        z = normals[x]
        mean = emission[x] * (lit * np.float32(lit_sensitivity[x])) + unlit * np.float32(sensitivity[x]) + dark_e
        variance = mean + read2
        inverse = np.float32(1.0) / variance
        quadratic = np.float32(1.0 / 6.0) * mean * inverse
        quadratic += np.float32(2.0 / 3.0) * quadratic * quadratic * quadratic * inverse
        linear = math.sqrt(variance - np.float32(2.0) * quadratic * quadratic)
        electrons = mean + linear * z + quadratic * (z * z - np.float32(1.0))
        counts = k * electrons + step * np.float32(dark[x]) + np.float32(0.5)
        out[x] = np.uint16(np.int32(min(max(counts, np.float32(0.0)), top)))


@njit(inline="always")
def _between(above: F32, below: F32, begin: int, right: float, down: float, out: F32) -> None:
    """Bilinear samples between two canvas rows, ``begin + right`` pixels in and ``down`` of the way from one row to the next."""
    w00, w01 = np.float32((1 - right) * (1 - down)), np.float32(right * (1 - down))
    w10, w11 = np.float32((1 - right) * down), np.float32(right * down)
    for x in range(out.size):
        at = begin + x
        out[x] = w00 * above[at] + w01 * above[at + 1] + w10 * below[at] + w11 * below[at + 1]


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "nsz"})
def draw_frame(
    tissues: tuple[I32, I32, U8, U8],
    surface: tuple[U8, U8],
    sparse: tuple[I32, I32, F32, I32],
    sensor: tuple[U16, U16, U16],
    hot: tuple[NDArray[np.int64], F32],
    normal: F32,
    levels: F32,
    slot_levels: F32,
    leakage: float,
    corner: tuple[int, int, float, float],
    row_light: F32,
    ambient: float,
    dark_electrons: float,
    exposure_s: float,
    read_variance_e2: float,
    counts_per_electron: float,
    white: int,
    frame_key: Word,
    out: U16,
) -> None:
    """Draw one frame into ``out``, (height, width) uint16.

    ``corner`` is the canvas position of the picture's first pixel: row, column, and the fractions (down, right) beyond it.
    ``row_light`` is electrons a level for each row, ``ambient`` the same for light that the ring does not give.
    """
    run_starts, run_ends, run_numbers, tissue_shares = tissues
    mottle, reflectance = surface
    row_starts, columns, shares, slots = sparse
    lit, unlit, dark = sensor
    top, left, down, right = corner
    moved = down != 0.0 or right != 0.0
    height, width = out.shape
    drawn = mottle.shape[1]
    above = np.zeros(drawn + 1, np.float32)
    below = np.zeros(drawn + 1, np.float32)
    emission = np.empty(width, np.float32)
    normals = np.empty(width, np.float32)
    hashes = np.empty(width, np.uint32)
    for y in range(height):
        if y == 0 or not moved:
            _fill_emission(
                top + y, run_starts, run_ends, run_numbers, tissue_shares, mottle, reflectance, levels, leakage,
                row_starts, columns, shares, slots, slot_levels, above[:drawn],
            )  # fmt: skip
        if moved:
            _fill_emission(
                top + y + 1, run_starts, run_ends, run_numbers, tissue_shares, mottle, reflectance, levels, leakage,
                row_starts, columns, shares, slots, slot_levels, below[:drawn],
            )  # fmt: skip
            _between(above, below, left, right, down, emission)
        else:
            emission[:] = above[left : left + width]
        _draw_normals(_mixed64(frame_key + uint64(y) * uint64(0x9E3779B97F4A7C15)), normal, hashes, normals)
        _expose(
            emission, normals, row_light[y], ambient, dark_electrons, lit[y], unlit[y], dark[y],
            read_variance_e2, counts_per_electron, white, out[y],
        )  # fmt: skip
        above, below = below, above
    _add_hot_pixels(hot[0], hot[1], exposure_s, counts_per_electron, white, normal, frame_key, out)


@njit(inline="always")
def _add_hot_pixels(
    indices: NDArray[np.int64],
    electrons_per_s: F32,
    exposure_s: float,
    counts_per_electron: float,
    white: int,
    normal: F32,
    frame_key: Word,
    out: U16,
) -> None:
    width = out.shape[1]
    for k in range(indices.size):
        mean = electrons_per_s[k] * exposure_s
        z = normal[_mixed64(frame_key ^ uint64(k + 0x5BD1E995)) >> uint64(64 - NORMAL_BITS)]
        extra = counts_per_electron * max(mean + math.sqrt(mean) * z, 0.0)
        y, x = indices[k] // width, indices[k] % width
        out[y, x] = np.uint16(min(np.float64(out[y, x]) + extra + 0.5, np.float64(white)))
