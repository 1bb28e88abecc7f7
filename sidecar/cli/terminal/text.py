"""How text goes out: names as the bytes that they are, signs that an output has not got as their like."""

from __future__ import annotations

import codecs
import os
import sys
from io import TextIOWrapper
from pathlib import Path

_PLAIN = {
    "−": "-",
    "–": "-",
    "─": "-",
    "∞": "inf",
    "✓": "+",
    "✗": "x",
    "→": ">",
    "▸": ">",
    "·": "-",
    "…": "...",
}
"""Of signs that tables and sentences hold; others become a question mark, as in any program."""
_BYTES = range(0xDC80, 0xDD00)
"""Bytes of a file's name that are no text (PEP 383)."""


def settle_outputs() -> None:
    """Nothing that is printed can fail for its letters, or for an output that was closed."""
    codecs.register_error("sidecar", _respelled)
    if sys.stdout is None:
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - open as long as the process is
    for output in (sys.stdout, sys.stderr):
        if isinstance(output, TextIOWrapper):
            output.reconfigure(errors="sidecar")


def _respelled(error: UnicodeError) -> tuple[bytes, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    signs = error.object[error.start : error.end]
    return b"".join(map(_plain, signs)), error.end


def _plain(sign: str) -> bytes:
    if ord(sign) in _BYTES:
        return bytes([ord(sign) - 0xDC00])
    return _PLAIN.get(sign, "?").encode("ascii")
