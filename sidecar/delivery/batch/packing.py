"""A measured file as text and bytes that give every figure back bit for bit.

Figures are JSON of fields by their names (Python's own JSON, with infinities), the history is arrays with
their bytes sorted by significance, which halves what compressing leaves. A checksum shows whether both are as
they were packed.
"""

from __future__ import annotations

import json
import math
import types
import zlib
from collections.abc import Sequence
from dataclasses import asdict, fields, is_dataclass, replace
from functools import cache
from typing import Any, Union, get_args, get_origin, get_type_hints

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.judge.findings import Finding
from sidecar.delivery.measure.dialogue import FileDialogue
from sidecar.delivery.measure.whole_file import BlockSeries, Measured
from sidecar.errors import RecordError

_MOST_BYTES = 1 << 30
"""Of a history, unpacked: four days of 64 channels. What says more is damaged, or meant to fill memory."""
_GARBLED = (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError, OverflowError)
"""What making values of garbled text may raise."""
_QUICK = 1
"""zlib's level: a hundredth of what the measuring takes."""


def pack(
    measured: Measured, more: Sequence[Finding], dialogue: Sequence[FileDialogue] = ()
) -> tuple[str, bytes]:
    """Figures and history. more: findings that need the file itself. dialogue: where it was asked for."""
    figures = {
        field.name: _plain(getattr(measured, field.name))
        for field in fields(Measured)
        if field.name not in ("file", "history")
    }
    arrays = {field.name: getattr(measured.history, field.name) for field in fields(BlockSeries)}
    shapes = {name: (array.dtype.str, array.shape) for name, array in arrays.items()}
    history = zlib.compress(b"".join(map(_shuffled, arrays.values())), _QUICK)
    content = {
        "measured": figures,
        "more": [asdict(finding) for finding in more],
        **({"dialogue": [asdict(each) for each in dialogue]} if dialogue else {}),
        "course": shapes,
    }
    return json.dumps({**content, "crc32": _checksum(content, history)}), history


def unpack(file: str, figures: str, history: bytes) -> tuple[Measured, list[Finding], list[FileDialogue]]:
    """Inverse of :func:`pack`. file: what it is called now.

    Raises RecordError when it is not as it was packed.
    """
    try:
        kept = json.loads(figures)
        if kept.pop("crc32") != _checksum(kept, history):
            raise ValueError("the checksum is another one")
        whole = {**kept["measured"], "file": file}
        values = {name: _built(_hints(Measured)[name], value) for name, value in whole.items()}
        return (
            Measured(**values, history=_history(kept["course"], history)),
            [_built(Finding, finding) for finding in kept["more"]],
            [_built(FileDialogue, dialogue) for dialogue in kept.get("dialogue", ())],
        )
    except (*_GARBLED, zlib.error) as error:
        raise RecordError(f"{file}: its result in the archive is damaged ({error}).") from error


def without_history(measured: Measured) -> Measured:
    """The figures alone, for who keeps many."""
    empty = {field.name: getattr(measured.history, field.name)[:0] for field in fields(BlockSeries)}
    return replace(measured, history=BlockSeries(**empty))


def _plain(value: Any) -> Any:
    return asdict(value) if is_dataclass(value) and not isinstance(value, type) else value


def _shuffled(array: NDArray[Any]) -> bytes:
    return np.ascontiguousarray(array).view(np.uint8).reshape(-1, array.itemsize).T.tobytes()


def _checksum(content: dict[str, Any], history: bytes) -> int:
    """CRC-32 (ISO 3309) of both; what JSON gives back is written as it was."""
    return zlib.crc32(history, zlib.crc32(json.dumps(content).encode()))


def _decompressed(history: bytes, size: int) -> bytes:
    """Exactly so many bytes, and no more of them than that in memory. Raises ValueError."""
    if not 0 <= size <= _MOST_BYTES:
        raise ValueError(f"a history of {size} bytes")
    zipped = zlib.decompressobj()
    content = zipped.decompress(history, size + 1)
    if len(content) != size or not zipped.eof:
        raise ValueError(f"a history of other than {size} bytes")
    return content


def _history(shapes: dict[str, tuple[str, list[int]]], history: bytes) -> BlockSeries:
    arrays, at = {}, 0
    content = _decompressed(history, sum(np.dtype(k).itemsize * math.prod(s) for k, s in shapes.values()))
    for name, (kind, shape) in shapes.items():
        size = np.dtype(kind).itemsize
        count = math.prod(shape)
        planes = np.frombuffer(content, np.uint8, count * size, at).reshape(size, count)
        arrays[name] = np.ascontiguousarray(planes.T).view(kind).reshape(shape)
        at += count * size
    return BlockSeries(**arrays)


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _built(kind: Any, value: Any) -> Any:
    """A value of the type *kind* from what JSON makes of it."""
    origin = get_origin(kind)
    if origin in (Union, types.UnionType):
        return None if value is None else _built(get_args(kind)[0], value)
    if origin is tuple:
        return tuple(_built(get_args(kind)[0], each) for each in value)
    if isinstance(kind, type) and is_dataclass(kind):
        return kind(**{name: _built(_hints(kind)[name], each) for name, each in value.items()})
    if hasattr(kind, "_fields"):  # a NamedTuple is a list in JSON
        return kind(*value)
    return value
