"""What each measure and each key means."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widgets import Footer, Static

from tui import texts
from tui.palette import Palette
from tui.screens.dialog import Dialog


class HelpDialog(Dialog[None]):
    """The measures in a sentence each with their standard, and the keys."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark,q", "leave", texts.BACK, key_display="esc"),
    ]

    DEFAULT_CSS = """
    HelpDialog > #box { padding: 0 1; max-height: 100%; height: 1fr; margin-bottom: 1; }
    HelpDialog Horizontal { height: auto; }
    HelpDialog .name { width: 13; }
    HelpDialog .text { width: 1fr; }
    """

    def __init__(self, keys: Iterable[tuple[str, str]], palette: Palette) -> None:
        super().__init__()
        self._keys = list(keys)
        self._palette = palette

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="box"):
            yield from (self._entry(name, text) for name, text in (*texts.MEASURES, ("", ""), *self._keys))
        yield Footer(compact=True, show_command_palette=False)

    def _entry(self, name: str, text: str) -> Horizontal:
        return Horizontal(
            Static(Text(self._palette.text(name), self._palette.ink("strong")), classes="name"),
            Static(Text(self._palette.text(text)), classes="text"),
        )

    def action_leave(self) -> None:
        self.dismiss(None)
