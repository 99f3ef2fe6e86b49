"""Two neighbouring pixels in one word, wherever in a line they begin: four pixels are then summed in half the time."""
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN202

from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic


def _pair_at(typingctx, line, number):
    """Pixels 2 ``number`` and 2 ``number`` + 1 of a line of uint16, as a uint32."""

    def codegen(context, builder, signature, arguments):
        data = context.make_array(line)(context, builder, arguments[0]).data
        first = builder.gep(data, [builder.shl(arguments[1], ir.Constant(ir.IntType(64), 1))])
        return builder.load(builder.bitcast(first, ir.IntType(32).as_pointer()), align=2)

    return types.uint32(line, types.int64), codegen


pair_at: Any = intrinsic(_pair_at)
