"""Several draws at once: a vector of numbers for compiled kernels, one lane a draw.

Draws of a posterior go through the same formulas with other numbers, which is what the vector units of every
processor are for. A compiler finds that in loops of its own accord only where nothing branches; here it is
said. `Lanes` behaves in a kernel as a float does: kernels read as the scalar formulas they are. A comparison
gives a `Mask`, and `where` takes the place of `if`.

What a lane gives does not depend on its neighbours: every operation is element by element, and what only
some lanes need is computed for all and kept by the mask.

The vector is LLVM's ``<16 x double>``, which it cuts to the width that the processor has. Python has no
values of these types: they live within kernels, which load them from rows of LANES and store them there.
Their types as a checker sees them stand in ``lanes.pyi``.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.core.imputils import lower_builtin
from numba.core.typing.templates import ConcreteTemplate, infer_global, signature
from numba.extending import intrinsic, models, register_model

__all__ = [
    "KEYS",
    "LANES",
    "Lanes",
    "Mask",
    "any_of",
    "below",
    "exponent_of",
    "first_of",
    "how_many",
    "lane",
    "load",
    "mantissa_of",
    "nearest",
    "power_of_two",
    "same",
    "size",
    "spread",
    "square_root",
    "store",
    "where",
    "with_lane",
]

Array = npt.NDArray[np.float64]

LANES = 16
"""Draws that are worked on together: two vectors of the widest processors, so that one fills the other's
waiting."""


class Lanes(types.Type):
    """LANES numbers, to numba's type inference."""

    def __init__(self) -> None:
        super().__init__(name="Lanes")


class Mask(types.Type):
    """LANES truth values, to numba's type inference."""

    def __init__(self) -> None:
        super().__init__(name="Mask")


_lanes: Any = Lanes()
_mask: Any = Mask()
_VECTOR = ir.VectorType(ir.DoubleType(), LANES)
_BITS = ir.VectorType(ir.IntType(1), LANES)
_WORDS = ir.VectorType(ir.IntType(64), LANES)
_FAST = ("contract", "arcp", "nsz")  # sums stay in the order written: series and reductions rest on it


@register_model(Lanes)
class _LanesModel(models.PrimitiveModel):
    def __init__(self, manager: Any, fe_type: Any) -> None:
        super().__init__(manager, fe_type, _VECTOR)


@register_model(Mask)
class _MaskModel(models.PrimitiveModel):
    def __init__(self, manager: Any, fe_type: Any) -> None:
        super().__init__(manager, fe_type, _BITS)


def _wide(builder: Any, x: Any) -> Any:
    """A number in every lane; lanes as they are."""
    if x.type == _VECTOR:
        return x
    empty = ir.Constant(_VECTOR, ir.Undefined)
    one = builder.insert_element(empty, x, ir.Constant(ir.IntType(32), 0))
    return builder.shuffle_vector(one, empty, ir.Constant(ir.VectorType(ir.IntType(32), LANES), [0] * LANES))


def _define(
    op: Any, make: Callable[[Any, list[Any]], Any], result: Any, *signatures: tuple[Any, ...]
) -> None:
    """Teach numba an operator for the given types of its arguments."""

    @infer_global(op)
    class _Typing(ConcreteTemplate):
        cases = [signature(result, *s) for s in signatures]  # noqa: RUF012

    for s in signatures:

        @lower_builtin(op, *s)
        def _lowering(context: Any, builder: Any, sig: Any, args: Any) -> Any:
            return make(builder, list(args))


_PAIRS = ((_lanes, _lanes), (_lanes, types.float64), (types.float64, _lanes))


def _between(op: Any, make: Callable[[Any, Any, Any], Any], result: Any) -> None:
    _define(op, lambda b, args: make(b, _wide(b, args[0]), _wide(b, args[1])), result, *_PAIRS)


_between(operator.add, lambda b, x, y: b.fadd(x, y, flags=_FAST), _lanes)
_between(operator.sub, lambda b, x, y: b.fsub(x, y, flags=_FAST), _lanes)
_between(operator.mul, lambda b, x, y: b.fmul(x, y, flags=_FAST), _lanes)
_between(operator.truediv, lambda b, x, y: b.fdiv(x, y, flags=_FAST), _lanes)
_between(operator.lt, lambda b, x, y: b.fcmp_ordered("<", x, y), _mask)
_between(operator.le, lambda b, x, y: b.fcmp_ordered("<=", x, y), _mask)
_between(operator.gt, lambda b, x, y: b.fcmp_ordered(">", x, y), _mask)
_between(operator.ge, lambda b, x, y: b.fcmp_ordered(">=", x, y), _mask)
_define(
    operator.neg,
    lambda b, args: b.fsub(_wide(b, ir.Constant(ir.DoubleType(), -0.0)), args[0]),
    _lanes,
    (_lanes,),
)
_define(operator.and_, lambda b, args: b.and_(*args), _mask, (_mask, _mask))
_define(operator.or_, lambda b, args: b.or_(*args), _mask, (_mask, _mask))
_define(operator.invert, lambda b, args: b.not_(args[0]), _mask, (_mask,))


def _called(builder: Any, name: str, x: Any) -> Any:
    """A function of LLVM's own, element by element."""
    kind = ir.FunctionType(_VECTOR, [_VECTOR])
    return builder.call(cgutils.get_or_insert_function(builder.module, kind, f"llvm.{name}.v{LANES}f64"), [x])


def _place(context: Any, builder: Any, kind: Any, array: Any, at: list[Any]) -> Any:
    """Pointer to a row of LANES, the last axis of an array."""
    held = context.make_array(kind)(context, builder, array)
    zero = ir.Constant(ir.IntType(64), 0)
    pointer = cgutils.get_item_pointer(context, builder, kind, held, [*at, zero])
    return builder.bitcast(pointer, _VECTOR.as_pointer())


def _places(kind: Any, at: Any) -> bool:
    return isinstance(kind, types.Array) and kind.dtype == types.float64 and kind.ndim == at.count + 1


@intrinsic
def load(typing_context: Any, rows: Any, at: Any) -> Any:
    """Lanes from rows[*at] of a float64 array whose last axis is of LANES, contiguous."""
    if not _places(rows, at):
        return None

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        index = cgutils.unpack_tuple(builder, args[1])
        return builder.load(_place(context, builder, sig.args[0], args[0], index), align=8)

    return _lanes(rows, types.UniTuple(types.intp, at.count)), code


@intrinsic
def store(typing_context: Any, rows: Any, at: Any, x: Any) -> Any:
    """Put lanes into rows[*at]; see `load`."""
    if not _places(rows, at):
        return None

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        index = cgutils.unpack_tuple(builder, args[1])
        builder.store(args[2], _place(context, builder, sig.args[0], args[0], index), align=8)
        return context.get_dummy_value()

    return types.void(rows, types.UniTuple(types.intp, at.count), _lanes), code


@intrinsic
def spread(typing_context: Any, x: Any) -> Any:
    """The same number in every lane."""
    return _lanes(types.float64), lambda context, builder, sig, args: _wide(builder, args[0])


@intrinsic
def where(typing_context: Any, mask: Any, x: Any, y: Any) -> Any:
    """The lanes of x where the mask holds, else those of y; either may be one number."""
    kinds = [_lanes if kind == _lanes else types.float64 for kind in (x, y)]

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.select(args[0], _wide(builder, args[1]), _wide(builder, args[2]))

    return _lanes(_mask, *kinds), code


@intrinsic
def any_of(typing_context: Any, mask: Any) -> Any:
    """Whether a mask holds in some lane."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        word = builder.bitcast(args[0], ir.IntType(LANES))
        return builder.icmp_unsigned("!=", word, ir.Constant(ir.IntType(LANES), 0))

    return types.boolean(_mask), code


@intrinsic
def same(typing_context: Any, x: Any, y: Any) -> Any:
    """Mask of equality; not of NaN."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.fcmp_ordered("==", args[0], _wide(builder, args[1]))

    return _mask(_lanes, _lanes if y == _lanes else types.float64), code


@intrinsic
def lane(typing_context: Any, x: Any, at: Any) -> Any:
    """One lane: a number, or whether a mask holds there."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.extract_element(args[0], args[1])

    return (types.boolean if x == _mask else types.float64)(x, types.intp), code


@intrinsic
def with_lane(typing_context: Any, x: Any, at: Any, value: Any) -> Any:
    """The same lanes but one."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.insert_element(args[0], args[2], args[1])

    return _lanes(_lanes, types.intp, types.float64), code


def _function(name: str) -> Any:
    def define(typing_context: Any, x: Any) -> Any:
        return _lanes(_lanes), lambda context, builder, sig, args: _called(builder, name, args[0])

    return intrinsic(define)


square_root: Callable[[Lanes], Lanes] = _function("sqrt")
size: Callable[[Lanes], Lanes] = _function("fabs")
nearest: Callable[[Lanes], Lanes] = _function("nearbyint")

_FRACTION = 0x000FFFFFFFFFFFFF
_ONE = 0x3FF0000000000000


def _words(value: int) -> Any:
    return ir.Constant(_WORDS, [value] * LANES)


@intrinsic
def mantissa_of(typing_context: Any, x: Any) -> Any:
    """m of x = m 2ⁿ, 1 <= m < 2, for positive x."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        bits = builder.bitcast(args[0], _WORDS)
        return builder.bitcast(builder.or_(builder.and_(bits, _words(_FRACTION)), _words(_ONE)), _VECTOR)

    return _lanes(_lanes), code


@intrinsic
def exponent_of(typing_context: Any, x: Any) -> Any:
    """n of x = m 2ⁿ, 1 <= m < 2, for positive x."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        bits = builder.lshr(builder.bitcast(args[0], _WORDS), _words(52))
        return builder.sitofp(builder.sub(bits, _words(1023)), _VECTOR)

    return _lanes(_lanes), code


@intrinsic
def power_of_two(typing_context: Any, n: Any) -> Any:
    """2ⁿ for whole n within -1022..1023."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        biased = builder.add(builder.fptosi(args[0], _WORDS), _words(1023))
        return builder.bitcast(builder.shl(biased, _words(52)), _VECTOR)

    return _lanes(_lanes), code


KEYS = 64
"""Keys that are looked at together: their answers are the bits of one word."""


@intrinsic
def below(typing_context: Any, keys: Any, at: Any, mark: Any) -> Any:
    """Which of the KEYS keys (float32, contiguous) from ``at`` on are below a mark, as bits, lowest first."""
    if not (isinstance(keys, types.Array) and keys.dtype == types.float32 and keys.ndim == 1):
        return None
    vector = ir.VectorType(ir.FloatType(), KEYS)

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        held = context.make_array(sig.args[0])(context, builder, args[0])
        pointer = cgutils.get_item_pointer(context, builder, sig.args[0], held, [args[1]])
        some = builder.load(builder.bitcast(pointer, vector.as_pointer()), align=4)
        marks = ir.Constant(vector, ir.Undefined)
        marks = builder.insert_element(marks, args[2], ir.Constant(ir.IntType(32), 0))
        zeros = ir.Constant(ir.VectorType(ir.IntType(32), KEYS), [0] * KEYS)
        marks = builder.shuffle_vector(marks, marks, zeros)
        return builder.bitcast(builder.fcmp_ordered("<", some, marks), ir.IntType(KEYS))

    return types.uint64(keys, types.intp, types.float32), code


@intrinsic
def how_many(typing_context: Any, bits: Any) -> Any:
    """How many bits of a word are set."""
    return types.intp(types.uint64), lambda context, builder, sig, args: builder.ctpop(args[0])


@intrinsic
def first_of(typing_context: Any, bits: Any) -> Any:
    """Place of the lowest bit set of a word that is not 0."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.cttz(args[0], ir.Constant(ir.IntType(1), 1))

    return types.intp(types.uint64), code
