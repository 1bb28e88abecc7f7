"""What each key does and what each measure is, with a search."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import Footer, Input, Static

from tui import texts
from tui.drawing.cells import Run
from tui.palette import Palette
from tui.screens.dialog import Dialog, inner_width, prose

_NAME_WIDTH = 13
_FRAME = 5
"""Cells that the box, its padding and its scrollbar take."""


class HelpDialog(Dialog[None]):
    """The keys, then the measures with their standards; a search shows the entries that have its words."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,h,question_mark,q", "leave", texts.BACK, key_display="esc"),
        Binding("slash", "search", "Search", key_display="/"),
    ]

    DEFAULT_CSS = """
    HelpDialog > #box { padding: 0 1; max-height: 100%; height: 1fr; margin-bottom: 1; }
    HelpDialog Input, HelpDialog Input:focus {
        display: none; border: none; height: 1; padding: 0 1; background: $panel;
    }
    HelpDialog Input.asked { display: block; }
    HelpDialog Input > .input--placeholder { color: $foreground; text-style: italic; }
    """

    def __init__(self, keys: Iterable[tuple[str, str]], palette: Palette) -> None:
        super().__init__()
        self._entries = [*keys, *texts.MEASURES]
        self._palette = palette

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="box"):
            yield Input(placeholder=self._palette.text(texts.HELP_SEARCH))
            yield Static(id="entries")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        self.query_one(Input).cursor_blink = False
        self.query_one("#box").focus()

    def on_resize(self) -> None:
        """Sets the entries to the new width."""
        if self.query(Input):  # on a busy machine the size comes before the content
            self._show_matches()

    def action_search(self) -> None:
        field = self.query_one(Input)
        field.add_class("asked")
        field.focus()

    def on_input_changed(self) -> None:
        self._show_matches()

    def on_input_submitted(self) -> None:
        self.query_one("#box").focus()

    def _show_matches(self) -> None:
        words = self.query_one(Input).value.lower().split()
        found = [
            (name, text)
            for name, text in self._entries
            if all(word in f"{name} {text}".lower() for word in words)
        ]
        width = inner_width(self.size.width, _FRAME)
        runs = [run for entry in found for run in _entry(*entry, width)]
        self.query_one("#entries", Static).update(
            prose(runs or [(texts.HELP_NOTHING, "plain")], self._palette)
        )

    def action_leave(self) -> None:
        self.dismiss(None)


def _entry(name: str, text: str, width: int) -> list[Run]:
    """A name, and beside it its text, over as many lines as that takes."""
    lines = textwrap.wrap(text, width - _NAME_WIDTH)
    return [
        (f"{name:<{_NAME_WIDTH}}", "strong"),
        (f"\n{'':{_NAME_WIDTH}}".join(lines) + "\n", "plain"),
    ]
