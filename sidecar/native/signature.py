"""The arguments of a kernel, laid side by side: of which types they are, and one machine word for each."""

from __future__ import annotations

import ctypes
from collections.abc import Hashable, Iterator
from functools import cache
from typing import Any

import numpy as np

Word = int | float

HEAD_BYTES = object.__basicsize__
"""Of what each object in memory begins with; an array goes on with its address, the number of its dimensions,
and the addresses of its shape and its strides (NumPy's C API, PyArrayObject)."""
ADDRESS, SHAPE, STRIDES = HEAD_BYTES, HEAD_BYTES + 16, HEAD_BYTES + 24
_C_ORDER, _FORTRAN_ORDER, _WRITEABLE = 0x1, 0x2, 0x400
"""NumPy's C API, array flags. One column is in both orders: the compiler takes it as C."""


def lay_out(arguments: tuple[Any, ...]) -> tuple[tuple[Hashable, ...], list[Word]]:
    """Returns what distinguishes the types of arguments, and the words: of an array, where the object is.

    An argument is an int, a float, a float32, an array of numbers, or a tuple of these.
    Raises TypeError for any other.
    """
    key: list[Any] = []
    words: list[Word] = []
    _lay_out(arguments, key, words)
    return tuple(key), words


def _lay_out(arguments: tuple[Any, ...], key: list[Any], words: list[Word]) -> None:
    for argument in arguments:
        kind: Any = type(argument)
        if kind is np.ndarray:
            flags = argument.flags.num
            order = _C_ORDER if flags & _C_ORDER else _FORTRAN_ORDER
            key += argument.dtype, argument.ndim, flags & (order | _WRITEABLE)
            words.append(id(argument))
        elif isinstance(argument, tuple):
            key += kind, len(argument)
            _lay_out(argument, key, words)
        elif kind is np.float32 or isinstance(argument, float):
            key.append(kind)
            words.append(float(argument))
        elif kind is int or kind is np.int64:
            key.append(kind)
            words.append(int(argument))
        else:
            raise TypeError(
                f"A kernel takes numbers, arrays and tuples of them, not {type(argument).__name__}."
            )


def leaves(arguments: tuple[Any, ...]) -> Iterator[Any]:
    """Yields the arguments and the members of tuples among them, in the order of their words."""
    for argument in arguments:
        if isinstance(argument, tuple):
            yield from leaves(argument)
        else:
            yield argument


def kinds(arguments: tuple[Any, ...]) -> str:
    """Returns the types of arguments as a text that is the same in each process."""
    key, _ = lay_out(arguments)
    return " ".join(item.__name__ if isinstance(item, type) else str(item) for item in key)


@cache
def arrays_are_as_described() -> bool:
    """Whether an array in memory is what :data:`HEAD_BYTES` says: other interpreters may differ."""
    array = np.zeros((3, 5, 7), np.int16)[::2, 1:]

    def word(at: int) -> int:
        return ctypes.c_int64.from_address(at).value

    shape, strides = (word(id(array) + place) for place in (SHAPE, STRIDES))
    return (
        ctypes.sizeof(ctypes.c_void_p) == 8
        and word(id(array) + ADDRESS) == array.ctypes.data
        and all(word(shape + 8 * axis) == array.shape[axis] for axis in range(3))
        and all(word(strides + 8 * axis) == array.strides[axis] for axis in range(3))
    )
