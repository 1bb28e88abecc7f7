"""Elements of HTML and SVG as text: closed and escaped by construction."""

from __future__ import annotations

import re
from html import escape

from sidecar.model.foreign_text import MARK, printable

_NO_CHARACTER = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""XML 1.0 §2.2: no escape brings these into a document, and names of files may hold them."""


class Markup(str):
    """Text that is markup already."""

    __slots__ = ()


_VOID = frozenset({"meta", "br", "col"})


def tag(element: str, *inside: str, **attributes: str) -> Markup:
    """One element. Text *inside* is escaped, markup is kept; what no document can hold becomes U+FFFD.

    Attributes whose names Python cannot hold: ``class_``, and ``_`` for ``-``.
    """
    said = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(_legal(value))}"'
        for name, value in attributes.items()
    )
    if element in _VOID:
        return Markup(f"<{element}{said}>")
    return Markup(f"<{element}{said}>{join(*inside)}</{element}>")


def join(*parts: str) -> Markup:
    """Markup one after the other; plain text is escaped."""
    return Markup(
        "".join(part if isinstance(part, Markup) else escape(_legal(part), quote=False) for part in parts)
    )


def _legal(text: str) -> str:
    lines = text if text.isprintable() else "\n".join(map(printable, text.split("\n")))
    return _NO_CHARACTER.sub(MARK, lines)
