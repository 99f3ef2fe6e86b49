"""Sums over slots of the products of columns, for several lanes at once, held in the processor's registers.

Left to itself the compiler keeps such sums in memory, which takes nine times as long.
"""
# mypy: disable-error-code="no-untyped-def,no-untyped-call,misc,untyped-decorator,call-arg"
# ruff: noqa: ANN001, ANN201, ANN202

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

TOGETHER = 8
"""Lanes summed at once: with six columns, 21 sums and 7 factors just fit into 32 registers."""
COLUMNS = 6

_I64, _VECTOR = ir.IntType(64), ir.VectorType(ir.FloatType(), TOGETHER)


@intrinsic
def lane_sums(typingctx, weights, columns, slots, lanes, first, sums):
    """Fill ``sums`` (21, lanes), for ``TOGETHER`` lanes from ``first`` on, with the sums over ``slots`` of weight x a x b.

    Pairs of columns in the order (0, 0), (1, 0), (1, 1), (2, 0) and so on. ``weights`` (slots x lanes,) and ``columns``
    (6, slots x lanes) float32 hold ``lanes`` numbers a slot.
    """

    def codegen(context, builder, signature, arguments):
        weights, columns, slots, lanes, first, sums = arguments
        kinds = signature.args
        weight_data = context.make_array(kinds[0])(context, builder, weights).data
        table = context.make_array(kinds[1])(context, builder, columns)
        out = context.make_array(kinds[5])(context, builder, sums).data
        row = builder.extract_value(table.shape, 1)

        def at(data, place):
            return builder.bitcast(builder.gep(data, [place]), _VECTOR.as_pointer())

        zero = ir.Constant(_VECTOR, [0.0] * TOGETHER)
        kept = [cgutils.alloca_once_value(builder, zero) for _ in range(COLUMNS * (COLUMNS + 1) // 2)]
        with cgutils.for_range(builder, slots) as loop:
            place = builder.add(builder.mul(loop.index, lanes), first)
            weight = builder.load(at(weight_data, place), align=4)
            column = []
            for number in range(COLUMNS):
                begin = builder.mul(row, ir.Constant(_I64, number))
                column.append(builder.load(at(table.data, builder.add(begin, place)), align=4))
            pairs = iter(kept)
            for a in range(COLUMNS):
                weighted = builder.fmul(weight, column[a], flags=("fast",))
                for b in range(a + 1):
                    total = next(pairs)
                    product = builder.fmul(weighted, column[b], flags=("fast",))
                    builder.store(builder.fadd(builder.load(total), product, flags=("fast",)), total)
        for number, total in enumerate(kept):
            begin = builder.mul(lanes, ir.Constant(_I64, number))
            builder.store(builder.load(total), at(out, builder.add(begin, first)), align=4)
        return context.get_dummy_value()

    return types.void(weights, columns, types.int64, types.int64, types.int64, sums), codegen
