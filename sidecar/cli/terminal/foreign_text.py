"""Foreign text on a terminal: a file's name may hold what moves the cursor, or worse."""

from __future__ import annotations

from unicodedata import category

_MARK = "\ufffd"


def unsteered(text: str) -> str:
    """*text* in one line, each control character a mark; bytes that are no text stay as they are."""
    return "".join(_MARK if category(letter) == "Cc" else letter for letter in text)
