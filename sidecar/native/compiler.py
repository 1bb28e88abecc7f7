"""The compiler: a kernel in Python in, machine code out. Imported only where something is compiled."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import llvmlite.binding as llvm
import numba
import numpy as np
from numba.core import compiler, types
from numba.core.compiler_lock import global_compiler_lock as one_at_a_time
from numba.core.registry import cpu_target
from numba.extending import typeof_impl

import sidecar.native.lane_lowering  # noqa: F401 - it teaches the compiler what lanes are
from sidecar.native.kernels import Part
from sidecar.native.machine_code import ENTRY, NotLoadable, ObjectCode, new_machine
from sidecar.native.signature import ADDRESS, SHAPE, STRIDES, leaves

__all__ = ["compiled", "one_at_a_time", "part_dispatcher", "whole_dispatcher"]

_OPTIONS = {
    "nopython": True,
    "nogil": True,
    "_nrt": False,  # no allocation: it would need the compiler's own at run time
    "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
}
_RESULTS = {types.int64: "q", types.float64: "d"}


@typeof_impl.register(Part)
def _part_type(part: Part[Any, Any], _context: Any) -> Any:
    """A kernel finds its parts among the names of its module."""
    return types.Dispatcher(part.dispatcher)


def part_dispatcher(function: Callable[..., Any], options: dict[str, Any]) -> Any:
    """Returns a function that kernels can call."""
    compile_as: Any = numba.jit
    return compile_as(**_OPTIONS, **options)(function)


def whole_dispatcher(function: Callable[..., Any]) -> Any:
    """Returns a kernel that the compiler itself runs, for as long as the process lasts."""
    return numba.njit(nogil=True)(function)


def compiled(function: Callable[..., Any], arguments: tuple[Any, ...]) -> ObjectCode:
    """Compiles a kernel for the types of these arguments, and for this processor.

    Raises NotLoadable where the code cannot be run without the compiler.
    """
    flags = cpu_target.options.parse_as_flags(compiler.Flags(), _OPTIONS)
    argument_types = tuple(numba.typeof(argument) for argument in arguments)
    made = compiler.compile_extra(
        cpu_target.typing_context, cpu_target.target_context, function, argument_types, None, flags, {}
    )
    symbol, source = made.fndesc.llvm_func_name, made.library.get_llvm_str()
    given = list(leaves(arguments))
    entry = _Entry(given)
    taken = [str(argument.type) for argument in llvm.parse_assembly(source).get_function(symbol).arguments]
    if taken != entry.types:
        raise NotLoadable(f"{symbol} takes {taken}, not {entry.types}")
    module = llvm.parse_assembly(source + entry.source(symbol))
    module.verify()
    results, is_tuple = _results(made.signature.return_type)
    words = "".join("d" if isinstance(leaf, float | np.float32) else "q" for leaf in given)
    return ObjectCode(
        words, results, is_tuple, tuple(_system_functions(module)), new_machine().emit_object(module)
    )


class _Entry:
    """The function that is called from outside: it unfolds what the words stand for.

    By the compiler's own convention a function takes, behind the addresses of the result and the error,
    numbers as they are, and of an array two owners (none here), its size, the bytes of an item, its address,
    its shape and its strides. That it does so is compared with what the compiler made.
    """

    def __init__(self, given: list[Any]) -> None:
        self.types = ["ptr", "ptr"]
        self._values = ["%results", "%error"]
        self._lines: list[str] = []
        self._made = 0
        for at, leaf in enumerate(given):
            self._unfold(8 * at, leaf)

    def source(self, symbol: str) -> str:
        """In the language of the compiler's output."""
        taken = ", ".join(f"{kind} {value}" for kind, value in zip(self.types, self._values, strict=True))
        return "\n".join((
            f"\ndefine i32 @{ENTRY}(ptr %results, ptr %error, ptr %words) {{",
            *self._lines,
            f'  %status = call i32 @"{symbol}"({taken})',
            "  ret i32 %status",
            "}",
        ))  # fmt: skip

    def _unfold(self, at: int, leaf: Any) -> None:
        if isinstance(leaf, np.ndarray):
            self._unfold_array(self._load("ptr", "%words", at), leaf)
        elif isinstance(leaf, np.float32):
            self._add("float", self._make(f"fptrunc double {self._load('double', '%words', at)} to float"))
        else:
            kind = "double" if isinstance(leaf, float) else "i64"
            self._add(kind, self._load(kind, "%words", at))

    def _unfold_array(self, array: str, leaf: np.ndarray[Any, Any]) -> None:
        shape, strides = (
            [self._load("i64", self._load("ptr", array, place), 8 * axis) for axis in range(leaf.ndim)]
            for place in (SHAPE, STRIDES)
        )
        size = shape[0]
        for length in shape[1:]:
            size = self._make(f"mul i64 {size}, {length}")
        for owner in ("null", "null"):
            self._add("ptr", owner)
        self._add("i64", size)
        self._add("i64", str(leaf.itemsize))
        self._add("ptr", self._load("ptr", array, ADDRESS))
        for number in (*shape, *strides):
            self._add("i64", number)

    def _add(self, kind: str, value: str) -> None:
        self.types.append(kind)
        self._values.append(value)

    def _load(self, kind: str, base: str, offset: int) -> str:
        place = self._make(f"getelementptr i8, ptr {base}, i64 {offset}")
        return self._make(f"load {kind}, ptr {place}")

    def _make(self, instruction: str) -> str:
        name = f"%v{self._made}"
        self._made += 1
        self._lines.append(f"  {name} = {instruction}")
        return name


def _results(returned: Any) -> tuple[str, bool]:
    """A letter for each number, as in ObjectCode, and whether they are in a tuple."""
    if returned == types.none:
        return "", False
    is_tuple = isinstance(returned, types.BaseTuple)
    members = tuple(returned) if is_tuple else (returned,)
    if not _RESULTS.keys() >= set(members):
        raise NotLoadable(f"it returns {returned}")
    return "".join(_RESULTS[member] for member in members), is_tuple


def _system_functions(module: llvm.ModuleRef) -> Iterator[str]:
    """The functions that the code may call and does not hold. What begins with llvm is the processor's own,
    such as a square root; some of it represents a function of the system's mathematics."""
    for function in module.functions:
        if function.is_declaration:
            stem = function.name.removeprefix("llvm.").partition(".")[0]
            if stem in ("log", "log10", "log2", "exp", "exp2", "pow", "sin", "cos"):
                yield stem
            elif not function.name.startswith("llvm."):
                yield function.name
