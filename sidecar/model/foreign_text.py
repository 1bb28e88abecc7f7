"""Text from elsewhere (the network, names of files, the record) made safe to print: the one place for it."""

from __future__ import annotations

import json
from typing import Any
from unicodedata import category

MARK = "\ufffd"
_REPLACED = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
"""Control, format (bidirectional and invisible ones), surrogate, line and paragraph separator: the general
categories of Unicode (UAX #44 §5.7.1)."""
_SHAPING = frozenset("\u00ad\u0600\u0601\u0602\u0603\u0604\u0605\u06dd\u070f\u0890\u0891\u08e2\u200c\u200d")
"""Format characters that are part of how words are spelt: soft hyphen, joiners, Arabic and Syriac marks."""
_LETTER_BYTES = frozenset(map(chr, range(0xDCA0, 0xDD00)))
"""Bytes A0 to FF as Python keeps them: letters and signs in every 8-bit coding, controls in none."""


def printable(text: str, longest: int | None = None) -> str:
    """*text* in one line, with U+FFFD for each character that could steer a terminal or turn its words round.

    Escape sequences begin with a C0 or a C1 control (ECMA-48 §5.3), and bidirectional overrides (UAX #9 §2)
    make a line read as something else than it says. Bytes of a name that are no text (PEP 383) are controls
    from 80 to 9F; others stay, so that an output can give them back as they were.

    longest: characters that are kept; an ellipsis follows them.
    """
    if longest is not None and len(text) > longest:
        return f"{printable(text[:longest])}…"
    if text.isprintable():
        return text
    return "".join(MARK if _is_unsafe(letter) else letter for letter in text)


def printable_json(fields: Any) -> str:
    """*fields* as one line of JSON that is safe to print; every character comes back when it is read."""
    line = json.dumps(fields, ensure_ascii=False)
    is_safe = printable(line) == line and _LETTER_BYTES.isdisjoint(line)
    return line if is_safe else json.dumps(fields)


def _is_unsafe(letter: str) -> bool:
    return category(letter) in _REPLACED and letter not in _SHAPING and letter not in _LETTER_BYTES
