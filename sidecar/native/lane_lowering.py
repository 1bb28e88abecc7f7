"""What the compiler makes of lanes: a vector of LLVM, the compiler's second half, with a double for each row.

LLVM fits it to the processor: four doubles are one register with AVX, and two with SSE2 or NEON. Imported
only where something is compiled.
"""

from __future__ import annotations

import operator
from collections.abc import Iterator
from typing import Any

from llvmlite import ir
from numba.core import cgutils, types
from numba.core.typing.templates import AbstractTemplate, infer_global, signature
from numba.extending import lower_builtin, models, register_model, type_callable
from numba.np import arrayobj

from sidecar.native.lanes import lanes, put_lanes


class LanesType(types.Type):
    """The type of so many lanes."""

    def __init__(self, count: int) -> None:
        super().__init__(f"Lanes({count})")
        self.count = count


@register_model(LanesType)
class _LanesModel(models.PrimitiveModel):
    def __init__(self, data_models: Any, kind: LanesType) -> None:
        super().__init__(data_models, kind, _vector(ir.DoubleType(), kind.count))


@type_callable(lanes)
def _type_lanes(_context: Any) -> Any:
    return lambda rows, at: LanesType(len(rows))  # noqa: ARG005 as called


@type_callable(put_lanes)
def _type_put_lanes(_context: Any) -> Any:
    return lambda values, rows, at: types.none  # noqa: ARG005 as called


@lower_builtin(lanes, types.UniTuple, types.Integer)
def _lower_lanes(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    """Widened together: one instruction for four."""
    items = [builder.load(place) for place in _places(context, builder, sig.args[0], args)]
    made = ir.Constant(_vector(items[0].type, len(items)), ir.Undefined)
    for k, item in enumerate(items):
        made = builder.insert_element(made, item, _index(k))
    wide = _vector(ir.DoubleType(), len(items))
    return made if made.type == wide else builder.fpext(made, wide)


@lower_builtin(put_lanes, LanesType, types.UniTuple, types.Integer)
def _lower_put_lanes(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    for k, place in enumerate(_places(context, builder, sig.args[1], args[1:])):
        builder.store(builder.extract_element(args[0], _index(k)), place)
    return context.get_dummy_value()


def _places(context: Any, builder: Any, rows_type: Any, args: Any) -> Iterator[Any]:
    """The address of the item in each row. args: the rows and where in them."""
    rows, at = args
    for row in cgutils.unpack_tuple(builder, rows):
        array = arrayobj.make_array(rows_type.dtype)(context, builder, row)
        yield cgutils.get_item_pointer(context, builder, rows_type.dtype, array, (at,))


def _lower_operator(operation: Any, instruction: str) -> None:
    """For two of as many lanes, or lanes and a number, which counts for each lane."""

    @infer_global(operation)
    class _Template(AbstractTemplate):
        def generic(self, args: Any, _named: Any) -> Any:
            kinds = {arg for arg in args if isinstance(arg, LanesType)}
            if len(kinds) != 1:
                return None
            (kind,) = kinds
            return signature(kind, *(arg if arg == kind else types.float64 for arg in args))

    def lower(_context: Any, builder: Any, sig: Any, args: Any) -> Any:
        count = sig.return_type.count
        spread = (
            arg if kind == sig.return_type else _spread(builder, arg, count)
            for kind, arg in zip(sig.args, args, strict=True)
        )
        return getattr(builder, instruction)(*spread)

    for kinds in ((LanesType, LanesType), (types.Float, LanesType), (LanesType, types.Float)):
        lower_builtin(operation, *kinds)(lower)


def _spread(builder: Any, number: Any, count: int) -> Any:
    """The number in all lanes."""
    one = ir.Constant(_vector(number.type, count), ir.Undefined)
    first = builder.insert_element(one, number, _index(0))
    return builder.shuffle_vector(first, first, ir.Constant(_vector(ir.IntType(32), count), None))


def _vector(item: Any, count: int) -> Any:
    return ir.VectorType(item, count)


def _index(k: int) -> Any:
    return ir.Constant(ir.IntType(32), k)


for _operation, _instruction in ((operator.add, "fadd"), (operator.sub, "fsub"), (operator.mul, "fmul")):
    _lower_operator(_operation, _instruction)
