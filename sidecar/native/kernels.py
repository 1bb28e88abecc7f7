"""The two decorators of compiled functions, and where each call goes: to loaded machine code."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from functools import cached_property, update_wrapper
from itertools import count
from pathlib import Path
from typing import Any, Generic, ParamSpec, TypeVar, cast

from sidecar.native import kept
from sidecar.native.machine_code import MachineCode, NotLoadable, load
from sidecar.native.signature import kinds, lay_out

Parameters = ParamSpec("Parameters")
Result = TypeVar("Result")

_kernels: list[Kernel[Any, Any]] = []
"""The kernels defined so far."""
_reports: list[Callable[[], object]] = []
"""Called before a kernel is compiled."""


class Part(Generic[Parameters, Result]):
    """A function that only kernels call: it is compiled into each of them."""

    def __init__(self, function: Callable[Parameters, Result], options: dict[str, Any]) -> None:
        self.function = function
        self.options = options
        update_wrapper(self, function)

    def __call__(self, *arguments: Parameters.args, **named: Parameters.kwargs) -> Result:
        """Runs it uncompiled."""
        return self.function(*arguments, **named)

    @cached_property
    def dispatcher(self) -> Any:
        """The function as the compiler knows it."""
        from sidecar.native.compiler import part_dispatcher

        return part_dispatcher(self.function, self.options)


class Kernel(Generic[Parameters, Result]):
    """A function of arrays and numbers, with one form of machine code for each combination of their types.

    It takes what :mod:`sidecar.native.signature` lists, allocates nothing, and returns None, one number or a
    tuple of numbers. The lock of the interpreter is released while it runs.
    """

    def __init__(self, function: Callable[Parameters, Result]) -> None:
        self.function = function
        self._forms: dict[Hashable, MachineCode] = {}
        self._unloadable: Any = None
        update_wrapper(self, function)

    def __call__(self, *arguments: Parameters.args, **named: Parameters.kwargs) -> Result:
        """Runs the machine code. Raises TypeError for what kernels do not take, such as arguments by name."""
        if named:
            raise TypeError(f"A kernel takes its arguments by place, not {', '.join(named)} by name.")
        key, words = lay_out(arguments)
        form = self._forms.get(key) or self._form(key, arguments)
        return cast(Result, self._unloadable(*arguments) if form is None else form.run(words))

    @property
    def kept_as(self) -> str:
        """The beginning of the names of files that hold its forms."""
        return f"{self.function.__module__.rpartition('.')[2]}.{self.function.__name__}"

    @property
    def folder(self) -> Path:
        """Where its source lies."""
        return Path(self.function.__code__.co_filename).parent

    def _form(self, key: Hashable, arguments: tuple[Any, ...]) -> MachineCode | None:
        """Returns machine code that is kept, or else compiles and keeps it; None where it cannot be loaded by
        itself: the compiler then runs the kernel as long as the process lasts."""
        if self._unloadable is not None:
            return None
        stamp = kept.stamp(self.folder)
        code = kept.read(self.kept_as, kinds(arguments), stamp)
        try:
            self._forms[key] = load(code) if code else self._compiled(key, arguments, stamp)
        except NotLoadable:
            from sidecar.native.compiler import whole_dispatcher

            self._unloadable = whole_dispatcher(self.function)
        return self._forms.get(key)

    def _compiled(self, key: Hashable, arguments: tuple[Any, ...], stamp: str) -> MachineCode:
        from sidecar.native.compiler import compiled, one_at_a_time

        with one_at_a_time:
            if key in self._forms:  # another thread was first
                return self._forms[key]
            for report in _reports:
                report()
            types = kinds(arguments)
            with kept.claimed(self.kept_as, types):
                if code := kept.read(self.kept_as, types, stamp):  # another process was first
                    return load(code)
                code = compiled(self.function, arguments)
                form = load(code)
                kept.write(self.kept_as, types, stamp, code)
                return form


def part(**options: Any) -> Callable[[Callable[Parameters, Result]], Callable[Parameters, Result]]:
    """Returns a decorator of what only kernels call: it is compiled into each of them.

    options: those of the compiler, such as ``fastmath``.
    """
    return lambda function: Part(function, options)


def kernel(function: Callable[Parameters, Result]) -> Callable[Parameters, Result]:
    """Decorates a function that Python calls: it is compiled at the first call on a machine, and kept."""
    made = Kernel(function)
    _kernels.append(made)
    return made


def is_kept(function: Any) -> bool:
    """Returns whether any form of a kernel is kept on this machine, perhaps of an older source."""
    made: Kernel[Any, Any] = function
    return kept.holds(made.kept_as)


@contextmanager
def compiling_reported(report: Callable[[int, int], object]) -> Iterator[None]:
    """Calls *report*, during the context, before each kernel that is compiled rather than loaded.

    report: takes the number of the kernel, from 1, and how many there are at most.
    """
    numbers = count(1)

    def begin() -> None:
        at = next(numbers)
        report(at, max(at, len(_kernels)))

    _reports.append(begin)
    try:
        yield
    finally:
        _reports.remove(begin)
