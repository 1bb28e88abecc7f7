"""Machine code in memory: loaded from an object file without the compiler, and called by its address."""

from __future__ import annotations

import ctypes
from dataclasses import dataclass
from functools import cache
from struct import Struct
from typing import Any

import llvmlite.binding as llvm

from sidecar.native.signature import Word, arrays_are_as_described

ENTRY = "sidecar_kernel"
"""The function in each object file that is called: with the addresses of the results, of an error, and of the
words of the arguments. It returns a status."""
_MOST_RESULTS = 8
_DONE = (0, -2)
"""The status of a function that returned, a value or None (numba's calling convention)."""
# A call of this type releases the lock of the interpreter.
_PROTOTYPE = ctypes.CFUNCTYPE(ctypes.c_int32, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_char_p)


class NotLoadable(Exception):
    """This system cannot load a kernel by itself, or the compiler made what is not understood here."""


@dataclass(frozen=True, slots=True)
class ObjectCode:
    """A kernel in machine code, and how it is called."""

    words: str
    """A letter for each word of the arguments, as ``struct`` has them: q for an integer or an array, d for a
    float."""
    results: str
    """A letter for each number that it returns."""
    is_tuple: bool
    """Whether it returns a tuple."""
    needs: tuple[str, ...]
    """The names of functions of the system that it calls."""
    content: bytes
    """The object file."""


class MachineCode:
    """A kernel that is ready to run."""

    def __init__(self, code: ObjectCode, engine: llvm.ExecutionEngine) -> None:
        self._engine = engine  # the code is there as long as this is
        self._call = _PROTOTYPE(engine.get_function_address(ENTRY))
        self._pack = Struct(code.words).pack
        self._unpack = Struct(code.results).unpack_from
        self._is_tuple = code.is_tuple

    def run(self, words: list[Word]) -> Any:
        """Returns what the kernel returns for arguments with these words; the arguments must be there."""
        results = (ctypes.c_int64 * _MOST_RESULTS)()
        error = ctypes.c_void_p()
        status = self._call(ctypes.addressof(results), ctypes.addressof(error), self._pack(*words))
        if status not in _DONE:
            raise RuntimeError(f"A kernel ended with status {status}, as where it divides by zero.")
        values = self._unpack(results)
        if self._is_tuple:
            return values
        return values[0] if values else None


def load(code: ObjectCode) -> MachineCode:
    """Raises NotLoadable where that cannot be done."""
    try:
        return MachineCode(code, _engine(code))
    except (AttributeError, OSError, RuntimeError, TypeError) as error:
        raise NotLoadable(str(error)) from error


def processor() -> str:
    """Returns the name and the abilities of this machine's processor, as one text."""
    return f"{llvm.get_process_triple()} {llvm.get_host_cpu_name()} {llvm.get_host_cpu_features().flatten()}"


def loader_version() -> str:
    """Returns the version of the library that makes and loads machine code."""
    return ".".join(map(str, llvm.llvm_version_info))


def new_machine() -> llvm.TargetMachine:
    """Returns what turns the compiler's output into code for this processor, at its highest level."""
    _initialize()
    target = llvm.Target.from_triple(llvm.get_process_triple())
    return target.create_target_machine(
        cpu=llvm.get_host_cpu_name(),
        features=llvm.get_host_cpu_features().flatten(),
        opt=3,
        codemodel="jitdefault",
    )


@cache
def _initialize() -> None:
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()


def _engine(code: ObjectCode) -> llvm.ExecutionEngine:
    """An engine for each kernel: two may hold parts of one name."""
    if not arrays_are_as_described():
        raise NotLoadable("arrays lie otherwise in memory")
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), new_machine())
    # Not before: the first engine of a process makes the functions of the system known.
    if missing := [name for name in code.needs if not llvm.address_of_symbol(name)]:
        raise NotLoadable(f"it needs {', '.join(missing)}")
    engine.add_object_file(llvm.ObjectFileRef.from_data(code.content))
    engine.finalize_object()
    if not engine.get_function_address(ENTRY):
        raise NotLoadable(f"{ENTRY} is not in its object file")
    return engine
