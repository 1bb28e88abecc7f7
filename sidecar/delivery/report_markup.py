"""Elements of HTML and SVG as text: closed and escaped by construction."""

from __future__ import annotations

from html import escape


class Markup(str):
    """Text that is markup already."""

    __slots__ = ()


_VOID = frozenset({"meta", "br", "col"})


def tag(element: str, *inside: str, **attributes: str) -> Markup:
    """One element. Text *inside* is escaped, markup is kept.

    Attributes whose names Python cannot hold: ``class_``, and ``_`` for ``-``.
    """
    said = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(value)}"' for name, value in attributes.items()
    )
    if element in _VOID:
        return Markup(f"<{element}{said}>")
    return Markup(f"<{element}{said}>{join(*inside)}</{element}>")


def join(*parts: str) -> Markup:
    """Markup one after the other; plain text is escaped."""
    return Markup("".join(part if isinstance(part, Markup) else escape(part, quote=False) for part in parts))
