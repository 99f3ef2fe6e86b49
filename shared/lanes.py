"""16-bit arithmetic for compiled loops, which numba by itself would widen to 64 bits.

Each works on int16 scalars inside a kernel, wraps on overflow unless said otherwise, and becomes one vector instruction over many
lanes. Masks are -1 (all bits) for true and 0 for false.
"""
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN202

import zlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from llvmlite import ir
from numba import njit, types
from numba.extending import intrinsic

I8 = ir.IntType(8)
I16 = ir.IntType(16)
I32 = ir.IntType(32)


def _lanes(name: str, arguments: int, build: Callable[..., Any], doc: str, takes: Any = types.int16) -> Any:
    """Make an intrinsic of ``arguments`` int16 values out of an LLVM builder recipe."""
    signature = types.int16(*[takes] * arguments)

    def codegen(context, builder, signature, values):
        _take_widest_vectors(builder.function)
        return build(builder, *values)

    def of_one(typingctx, a):
        return signature, codegen

    def of_two(typingctx, a, b):
        return signature, codegen

    def of_three(typingctx, a, b, c):
        return signature, codegen

    typed = (of_one, of_two, of_three)[arguments - 1]
    typed.__name__ = typed.__qualname__ = name
    typed.__doc__ = doc
    return intrinsic(typed)


def prefetch(builder: Any, pointer: Any) -> None:
    """Have the processor fetch the cache line at ``pointer`` before it is needed; one without memory does no harm."""
    address = builder.bitcast(pointer, I8.as_pointer())
    hint = ir.FunctionType(ir.VoidType(), [I8.as_pointer(), I32, I32, I32])
    call = builder.module.declare_intrinsic("llvm.prefetch", [I8.as_pointer()], hint)
    builder.call(call, [address, *(ir.Constant(I32, choice) for choice in (0, 3, 1))])  # to read, keep, data


def _take_widest_vectors(function: Any) -> None:
    """Use all of 512 bits where the processor has them: LLVM by itself takes half, for fear of a slower clock. Others ignore it."""
    set.add(function.attributes, '"prefer-vector-width"="512"')  # past the names llvmlite knows, which lack this one


def _high_part(builder, a, b):
    product = builder.mul(builder.sext(a, I32), builder.sext(b, I32), flags=["nsw"])
    return builder.trunc(builder.ashr(product, ir.Constant(I32, 16)), I16)


def _high_part_unsigned(builder, a, b):
    product = builder.mul(builder.zext(a, I32), builder.zext(b, I32))
    return builder.trunc(builder.lshr(product, ir.Constant(I32, 16)), I16)


def _rounded_part(builder, a, b):
    half = builder.lshr(builder.mul(a, b), ir.Constant(I16, 15))
    return builder.add(_high_part(builder, a, b), half)


def _limited_sum(builder, a, b):
    kind = ir.FunctionType(I16, [I16, I16])
    name = "llvm.sadd.sat.i16"
    function = builder.module.globals.get(name) or ir.Function(builder.module, kind, name)
    return builder.call(function, [a, b])


def _compared(relation: str) -> Callable[..., Any]:
    return lambda builder, a, b: builder.sext(builder.icmp_signed(relation, a, b), I16)


def _chosen(relation: str) -> Callable[..., Any]:
    return lambda builder, a, b: builder.select(builder.icmp_signed(relation, a, b), a, b)


def _blended(builder, mask, a, b):
    return builder.xor(b, builder.and_(builder.xor(a, b), mask))


def _mean(builder, a, b):
    differing = builder.ashr(builder.xor(a, b), ir.Constant(I16, 1))
    return builder.add(builder.and_(a, b), differing)


def _mean_up(builder, a, b):
    differing = builder.ashr(builder.xor(a, b), ir.Constant(I16, 1))
    return builder.sub(builder.or_(a, b), differing)


part = _lanes("part", 2, _high_part, "a b / 2^16, rounded down: a multiplied by b 65536ths.")
part_unsigned = _lanes("part_unsigned", 2, _high_part_unsigned, "The same for an unsigned a and b.")
nearest_part = _lanes("nearest_part", 2, _rounded_part, "a b / 2^16, rounded to nearest.")
add = _lanes("add", 2, lambda builder, a, b: builder.add(a, b), "a + b.")
add_limited = _lanes(
    "add_limited", 2, _limited_sum, "a + b, held at the ends of the range; also keeps a chain of parts in 16 bits."
)
subtract = _lanes("subtract", 2, lambda builder, a, b: builder.sub(a, b), "a - b.")
times = _lanes("times", 2, lambda builder, a, b: builder.mul(a, b), "a b, low 16 bits.")
up = _lanes("up", 2, lambda builder, a, n: builder.shl(a, n), "a 2^n.")
down = _lanes("down", 2, lambda builder, a, n: builder.ashr(a, n), "a / 2^n, rounded down.")
down_unsigned = _lanes("down_unsigned", 2, lambda builder, a, n: builder.lshr(a, n), "The same for an unsigned a.")
lesser = _lanes("lesser", 2, _chosen("<"), "The smaller of two.")
greater = _lanes("greater", 2, _chosen(">"), "The greater of two.")
is_above = _lanes("is_above", 2, _compared(">"), "Mask of a > b.")
is_at_least = _lanes("is_at_least", 2, _compared(">="), "Mask of a >= b.")
both = _lanes("both", 2, lambda builder, a, b: builder.and_(a, b), "Bits set in both.")
either = _lanes("either", 2, lambda builder, a, b: builder.or_(a, b), "Bits set in either.")
mean_low = _lanes("mean_low", 2, _mean, "(a + b) / 2 without overflow, rounded down.")
mean_high = _lanes("mean_high", 2, _mean_up, "(a + b) / 2 without overflow, rounded up.")
low_half = _lanes(
    "low_half", 1, lambda builder, word: builder.trunc(word, I16), "Lower 16 bits of a 32-bit word.", types.int32
)
high_half = _lanes(
    "high_half",
    1,
    lambda builder, word: builder.trunc(builder.lshr(word, ir.Constant(I32, 16)), I16),
    "Upper 16 bits of a 32-bit word.",
    types.int32,
)
chosen = _lanes(
    "chosen",
    3,
    lambda builder, mask, a, b: builder.select(builder.icmp_signed("!=", mask, ir.Constant(I16, 0)), a, b),
    "a where the first is not 0, else b.",
)
blended = _lanes(
    "blended",
    3,
    _blended,
    "Bits of a where the mask has them set, else of b; better than ``chosen`` between loaded values.",
)


def _borrowed(typingctx, array):
    """The same array without its owner, so that handing it on costs no atomic reference count. The owner must outlive it."""

    def codegen(context, builder, signature, values):
        view = context.make_array(array)(context, builder, values[0])
        for owner in ("meminfo", "parent"):
            setattr(view, owner, ir.Constant(getattr(view, owner).type, None))
        return view._getvalue()

    return array(array), codegen


borrowed: Any = intrinsic(_borrowed)


def _ask(typingctx, plane, y, x):
    """Have the cache line of ``plane[y, x]`` fetched before it is needed; a place outside the plane does no harm."""

    def codegen(context, builder, signature, values):
        array = context.make_array(signature.args[0])(context, builder, values[0])
        row, column = (builder.mul(values[k + 1], builder.extract_value(array.strides, k)) for k in range(2))
        prefetch(builder, builder.gep(builder.bitcast(array.data, I8.as_pointer()), [builder.add(row, column)]))
        return context.get_dummy_value()

    return types.void(plane, types.int64, types.int64), codegen


ask: Any = intrinsic(_ask)


def compiler(*sources: Path, reorder: bool = False) -> Callable[[Callable[..., Any]], Any]:
    """A decorator that compiles a kernel for this processor, without the interpreter's lock, and keeps it on disk.

    Kernels are compiled into each other across files, so what is kept counts as stale when any of ``sources`` has changed; numba
    by itself would look at the function's own file alone and go on with old code. ``reorder`` lets sums of floats be taken in any
    order, so that they go through several lanes.
    """
    allowed = {"reassoc", "nsz", "contract"} if reorder else False

    @cache
    def stamp() -> tuple[int, ...]:
        return tuple(zlib.crc32(source.read_bytes()) for source in sources)

    def compiled(function: Callable[..., Any]) -> Any:
        dispatcher: Any = njit(cache=True, nogil=True, error_model="numpy", fastmath=allowed)(function)
        dispatcher._cache._cache_file._source_stamp = stamp()
        return dispatcher

    return compiled


compiled = compiler(*(Path(__file__).with_name(f"{name}.py") for name in ("lanes", "live_kernel", "live_passes")))
