"""Logarithm and exponential of a row of float32 numbers, many lanes at once, where the C library's go one by one.

Polynomials of the Cephes library's logf and expf (S. L. Moshier, from memory; tested against numpy), good to about 2e-7.
"""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201

import numpy as np

from shared.inflow.maps_compiled import summing

LEAST_EXPONENT = -80.0


@summing
def logarithms(number, x, x_bits, scratch, scratch_bits, out):
    """Natural logarithms of the first ``number`` of ``x``, positive and normal. ``_bits`` are int32 views of the same memory."""
    mantissa, one = np.int32(0x007FFFFF), np.int32(0x3F800000)
    for i in range(number):
        scratch_bits[i] = (x_bits[i] & mantissa) | one
    for i in range(number):
        out[i] = np.float32(x_bits[i] >> np.int32(23)) - np.float32(127.0)
    half, root, unit = np.float32(0.5), np.float32(1.41421356), np.float32(1.0)
    for i in range(number):
        m = scratch[i]
        over = m > root
        e = out[i] + (unit if over else np.float32(0.0))
        r = (half * m if over else m) - unit
        z = r * r
        y = np.float32(7.0376836292e-2) * r - np.float32(1.1514610310e-1)
        y = y * r + np.float32(1.1676998740e-1)
        y = y * r - np.float32(1.2420140846e-1)
        y = y * r + np.float32(1.4249322787e-1)
        y = y * r - np.float32(1.6668057665e-1)
        y = y * r + np.float32(2.0000714765e-1)
        y = y * r - np.float32(2.4999993993e-1)
        y = y * r + np.float32(3.3333331174e-1)
        out[i] = y * r * z - half * z + r + e * np.float32(0.693147181)


@summing
def exponentials(number, x, scratch, scratch_bits, out):
    """Exponentials of the first ``number`` of ``x``, from LEAST_EXPONENT, where smaller ones count too, to 80."""
    least, half = np.float32(LEAST_EXPONENT), np.float32(0.5)
    for i in range(number):
        out[i] = np.floor(max(x[i], least) * np.float32(1.44269504) + half)
    for i in range(number):
        scratch_bits[i] = (np.int32(out[i]) + np.int32(127)) << np.int32(23)
    for i in range(number):
        r = max(x[i], least) - out[i] * np.float32(0.693359375) + out[i] * np.float32(2.12194440e-4)
        y = np.float32(1.9875691500e-4) * r + np.float32(1.3981999507e-3)
        y = y * r + np.float32(8.3334519073e-3)
        y = y * r + np.float32(4.1665795894e-2)
        y = y * r + np.float32(1.6666665459e-1)
        y = y * r + half
        out[i] = (y * r * r + r + np.float32(1.0)) * scratch[i]
