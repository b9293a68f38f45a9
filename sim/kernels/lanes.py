"""Eight baits at once: a vector of eight numbers that compiled code treats like one.

Kernels are written once, for one bait. Called with an integer lane ``k`` they compile to code for
that lane; called with :data:`ALL` in its place they compile to vector code in which
``array[row, k]`` is the row's eight lanes and every sum, product, root and comparison acts on
eight numbers. IEEE arithmetic is the same in both, so a bait's motion has the same bits in either.

The compiler's own vectoriser does not get there: the short loops over plate elements and body
slices would have to become the outer ones.

Where lanes can part, a kernel asks :func:`every_lane` for the way that all may go, and takes the
result of each lane by :func:`choose`.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable
from typing import Any

from llvmlite import ir
from numba.core import cgutils, types
from numba.core.imputils import lower_constant
from numba.core.typeconv import Conversion
from numba.extending import (
    NativeValue, intrinsic, lower_cast, models, overload, register_model, typeof_impl, unbox,
)  # fmt: skip

WIDTH = 8

_VECTOR = ir.VectorType(ir.DoubleType(), WIDTH)
_BITS = ir.VectorType(ir.IntType(1), WIDTH)


class Vector(types.Type):
    """Type of eight float64."""

    def __init__(self) -> None:
        super().__init__("eight_lanes")

    def can_convert_from(self, typingctx: Any, other: types.Type) -> Any:
        """A number stands for eight of it."""
        return Conversion.safe if isinstance(other, (types.Float, types.Integer)) else None


class Mask(types.Type):
    """Type of eight truth values."""

    def __init__(self) -> None:
        super().__init__("eight_truths")


class Every(types.Type):
    """Type of :data:`ALL`."""

    def __init__(self) -> None:
        super().__init__("all_lanes")


class AllLanes:
    """In the place of a lane number: all eight lanes of an array whose last axis has eight."""


ALL = AllLanes()
VECTOR, MASK, EVERY = Vector(), Mask(), Every()


def choose(which: Any, yes: Any, no: Any) -> Any:
    """``yes`` where ``which`` holds, else ``no``; lane by lane."""
    return yes if which else no


def every_lane(which: Any) -> Any:
    """True when ``which`` holds in every lane."""
    return which


@register_model(Vector)
class _VectorModel(models.PrimitiveModel):
    """Held as one vector register."""

    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, _VECTOR)


@register_model(Mask)
class _MaskModel(models.PrimitiveModel):
    """Held as eight bits."""

    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, _BITS)


register_model(Every)(models.OpaqueModel)


@typeof_impl.register(AllLanes)
def _typeof_all(value: Any, context: Any) -> types.Type:
    """Type of the one value there is."""
    return EVERY


@lower_constant(Every)
def _constant_all(context: Any, builder: Any, kind: Any, value: Any) -> Any:
    """It carries nothing."""
    return context.get_dummy_value()


@unbox(Every)
def _unbox_all(kind: Any, value: Any, context: Any) -> NativeValue:
    """It carries nothing."""
    return NativeValue(context.context.get_dummy_value())


def _wide(context: Any, builder: Any, kind: types.Type, value: Any) -> Any:
    """The eight lanes of a number, or of eight."""
    if kind == VECTOR:
        return value
    one = context.cast(builder, value, kind, types.float64)
    first = builder.insert_element(
        ir.Constant(_VECTOR, ir.Undefined), one, ir.Constant(ir.IntType(32), 0)
    )
    zeros = ir.Constant(ir.VectorType(ir.IntType(32), WIDTH), [0] * WIDTH)
    return builder.shuffle_vector(first, ir.Constant(_VECTOR, ir.Undefined), zeros)


@lower_cast(types.Float, Vector)
@lower_cast(types.Integer, Vector)
def _widen(context: Any, builder: Any, old: Any, new: Any, value: Any) -> Any:
    """A number where eight are wanted."""
    return _wide(context, builder, old, value)


def _is_number(kind: types.Type) -> bool:
    """One number or eight."""
    return isinstance(kind, (Vector, types.Float, types.Integer))


def _two(function: Any, build: Callable[[Any, Any, Any], Any], result: types.Type) -> None:
    """Give ``function`` of two numbers its meaning for lanes."""

    @intrinsic
    def raw(typingctx: Any, a: Any, b: Any) -> Any:
        def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
            x, y = (_wide(context, builder, k, v) for k, v in zip(sig.args, args, strict=True))
            return build(builder, x, y)

        return result(a, b), code

    @overload(function)
    def over(a, b):
        if VECTOR in (a, b) and _is_number(a) and _is_number(b):
            return lambda a, b: raw(a, b)
        return None


def _lesser(builder: Any, a: Any, b: Any) -> Any:
    """The lesser of two, as numba has it for one lane."""
    return builder.select(builder.fcmp_ordered("<", b, a), b, a)


def _greater(builder: Any, a: Any, b: Any) -> Any:
    """The greater of two."""
    return builder.select(builder.fcmp_ordered(">", b, a), b, a)


def _compare(sign: str) -> Callable[[Any, Any, Any], Any]:
    """A comparison; false for NaN."""
    return lambda builder, a, b: builder.fcmp_ordered(sign, a, b)


for _function, _build in (
    (operator.add, lambda builder, a, b: builder.fadd(a, b)),
    (operator.iadd, lambda builder, a, b: builder.fadd(a, b)),
    (operator.sub, lambda builder, a, b: builder.fsub(a, b)),
    (operator.isub, lambda builder, a, b: builder.fsub(a, b)),
    (operator.mul, lambda builder, a, b: builder.fmul(a, b)),
    (operator.imul, lambda builder, a, b: builder.fmul(a, b)),
    (operator.truediv, lambda builder, a, b: builder.fdiv(a, b)),
    (operator.itruediv, lambda builder, a, b: builder.fdiv(a, b)),
    (min, _lesser),  # what numba does with two numbers, so that NaN and -0 come out alike
    (max, _greater),
):
    _two(_function, _build, VECTOR)
for _function, _sign in (
    (operator.lt, "<"),
    (operator.le, "<="),
    (operator.gt, ">"),
    (operator.ge, ">="),
):
    _two(_function, _compare(_sign), MASK)


def _call(name: str) -> Callable[[Any, Any], Any]:
    """A call of one of the compiler's own functions on vectors."""

    def build(builder: Any, x: Any) -> Any:
        kind = ir.FunctionType(_VECTOR, [_VECTOR])
        name8 = f"{name}.v{WIDTH}f64"
        return builder.call(cgutils.get_or_insert_function(builder.module, kind, name8), [x])

    return build


def _one(function: Any, build: Callable[[Any, Any], Any]) -> None:
    """Give ``function`` of one number its meaning for lanes."""

    @intrinsic
    def raw(typingctx: Any, a: Any) -> Any:
        def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
            return build(builder, args[0])

        return VECTOR(a), code

    @overload(function)
    def over(a):
        return (lambda a: raw(a)) if a == VECTOR else None


_one(operator.neg, lambda builder, x: builder.fneg(x))
_one(abs, _call("llvm.fabs"))
_one(math.sqrt, _call("llvm.sqrt"))


@intrinsic
def _lane(typingctx: Any, a: Any, i: Any) -> Any:
    """One of eight numbers."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.extract_element(args[0], args[1])

    return types.float64(a, i), code


@intrinsic
def _with_lane(typingctx: Any, a: Any, i: Any, x: Any) -> Any:
    """Eight numbers with one of them replaced."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.insert_element(args[0], args[2], args[1])

    return VECTOR(a, i, x), code


@overload(math.asin)
def _asin(x):
    """No vector of it: lane by lane, rare (a bait that touches the surface)."""
    if x != VECTOR:
        return None

    def over(x):
        found = x
        for i in range(WIDTH):
            found = _with_lane(found, i, math.asin(_lane(x, i)))
        return found

    return over


def _both(function: Any, build: Callable[[Any, Any, Any], Any]) -> None:
    """Give ``function`` of two truths its meaning for lanes."""

    @intrinsic
    def raw(typingctx: Any, a: Any, b: Any) -> Any:
        def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
            return build(builder, *args)

        return MASK(a, b), code

    @overload(function)
    def over(a, b):
        return (lambda a, b: raw(a, b)) if a == MASK and b == MASK else None


_both(operator.and_, lambda builder, a, b: builder.and_(a, b))
_both(operator.or_, lambda builder, a, b: builder.or_(a, b))


@intrinsic
def _select(typingctx: Any, which: Any, yes: Any, no: Any) -> Any:
    """Lane by lane one of two."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        x, y = (_wide(context, builder, k, v) for k, v in zip(sig.args[1:], args[1:], strict=True))
        return builder.select(args[0], x, y)

    return VECTOR(which, yes, no), code


@overload(choose)
def _choose(which, yes, no):
    """:func:`choose` in compiled code."""
    if which == MASK:
        return lambda which, yes, no: _select(which, yes, no)
    return lambda which, yes, no: yes if which else no


@intrinsic
def _all_true(typingctx: Any, which: Any) -> Any:
    """True when all eight are."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        byte = builder.bitcast(args[0], ir.IntType(WIDTH))
        return builder.icmp_unsigned("==", byte, ir.Constant(ir.IntType(WIDTH), (1 << WIDTH) - 1))

    return types.boolean(which), code


@overload(every_lane)
def _every(which):
    """:func:`every_lane` in compiled code."""
    if which == MASK:
        return lambda which: _all_true(which)
    return lambda which: which


def _pointer(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    """Address of the eight lanes of one row of an array."""
    kind, where = sig.args[0], sig.args[1]
    array = context.make_array(kind)(context, builder, value=args[0])
    zero = context.get_constant(types.intp, 0)
    rows = []
    if isinstance(where, types.BaseTuple):
        values = cgutils.unpack_tuple(builder, args[1])
        for row, value in zip(_parts(where)[:-1], values[:-1], strict=True):
            rows.append(context.cast(builder, value, row, types.intp))
    at = cgutils.get_item_pointer(
        context, builder, kind, array, [*rows, zero], wraparound=False,
        boundscheck=context.enable_boundscheck,
    )  # fmt: skip
    return builder.bitcast(at, _VECTOR.as_pointer())


def _parts(where: Any) -> tuple[Any, ...]:
    """Types of the indices between the brackets."""
    return tuple(where) if isinstance(where, types.BaseTuple) else (where,)  # type: ignore[arg-type]


def _names_all(array: Any, where: Any) -> bool:
    """True for ``array[..., ALL]``."""
    parts = _parts(where)
    if not parts or parts[-1] != EVERY or not isinstance(array, types.Array):
        return False
    # anything else would be read as if it had eight lanes in a row
    return array.layout == "C" and array.ndim == len(parts)


@intrinsic
def _read(typingctx: Any, array: Any, where: Any) -> Any:
    """The eight lanes of a row."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.load(_pointer(context, builder, sig, args), align=8)

    return VECTOR(array, where), code


@overload(operator.getitem)
def _getitem(array, where):
    """``array[row, ALL]``."""
    if _names_all(array, where):
        return lambda array, where: _read(array, where)
    return None


@intrinsic
def _write(typingctx: Any, array: Any, where: Any, value: Any) -> Any:
    """Set the eight lanes of a row."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        wide = _wide(context, builder, sig.args[2], args[2])
        builder.store(wide, _pointer(context, builder, sig, args), align=8)
        return context.get_dummy_value()

    return types.none(array, where, value), code


@overload(operator.setitem)
def _setitem(array, where, value):
    """``array[row, ALL] = value``."""
    if _names_all(array, where):
        return lambda array, where, value: _write(array, where, value)
    return None
