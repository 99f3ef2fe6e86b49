"""Sums of factors times values over a few slots, in whole vectors: the compiler by itself takes loops so short one by one."""
# mypy: disable-error-code="no-untyped-def,no-untyped-call,misc,untyped-decorator,call-arg"
# ruff: noqa: ANN001, ANN202

import numpy as np
from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic
from numpy.typing import NDArray

TOGETHER = 8
"""Slots summed at once."""

_ANY_ORDER = ("reassoc", "nsz", "contract")
_F64, _I64 = ir.DoubleType(), ir.IntType(64)
_VECTOR = ir.VectorType(_F64, TOGETHER)


def padded(slots: int) -> int:
    """Memory for so many slots and what is read beyond the last of them, which must be 0."""
    return slots + TOGETHER - 1


def whole(slots: NDArray[np.int32]) -> NDArray[np.int32]:
    """As many slots or more, multiples of ``TOGETHER``."""
    return -(-slots // TOGETHER) * TOGETHER


def _summed(builder, factors, values, number, squared):
    """Sum over ``number`` slots from two pointers on."""
    total = cgutils.alloca_once_value(builder, ir.Constant(_VECTOR, [0.0] * TOGETHER))
    with cgutils.for_range_slice(builder, ir.Constant(_I64, 0), number, ir.Constant(_I64, TOGETHER)) as (at, _):
        factor, value = (
            builder.load(builder.bitcast(builder.gep(data, [at]), _VECTOR.as_pointer()), align=8)
            for data in (factors, values)
        )
        product = builder.fmul(factor, value, flags=_ANY_ORDER)
        if squared:
            product = builder.fmul(factor, product, flags=_ANY_ORDER)
        builder.store(builder.fadd(builder.load(total), product, flags=_ANY_ORDER), total)
    kind = ir.FunctionType(_F64, [_F64, _VECTOR])
    name = f"llvm.vector.reduce.fadd.v{TOGETHER}f64"
    reduce = builder.module.globals.get(name) or ir.Function(builder.module, kind, name)
    return builder.call(reduce, [ir.Constant(_F64, -0.0), builder.load(total)], fastmath=_ANY_ORDER)


def _sum_of(squared):
    def typed(typingctx, factors, row, values, begin, number):
        def codegen(context, builder, signature, arguments):
            kinds = signature.args
            table = context.make_array(kinds[0])(context, builder, arguments[0])
            series = context.make_array(kinds[2])(context, builder, arguments[2])
            long = builder.extract_value(table.shape, 3)
            first = builder.gep(table.data, [builder.mul(arguments[1], long)])
            return _summed(builder, first, builder.gep(series.data, [arguments[3]]), arguments[4], squared)

        return types.float64(factors, types.int64, values, types.int64, types.int64), codegen

    return typed


dot = intrinsic(_sum_of(False))
"""``dot(factors, row, values, begin, number)``: sum of ``number`` factors, a multiple of ``TOGETHER``, times values from ``begin``
on; ``row`` counts the rows of the last axis of ``factors`` (4 axes), ``values`` (slots,) float64 lie side by side.
"""
dot_squares = intrinsic(_sum_of(True))
"""The same of the factors' squares."""
