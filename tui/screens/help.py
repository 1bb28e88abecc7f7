"""What each key does and what each measure is, with a search."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widgets import Footer, Input, Static

from tui import texts
from tui.palette import Palette
from tui.screens.dialog import Dialog


class HelpDialog(Dialog[None]):
    """The keys, then the measures with their standards; a search shows the entries that have its words."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,h,question_mark,q", "leave", texts.BACK, key_display="esc"),
        Binding("slash", "search", "Search", key_display="/"),
    ]

    DEFAULT_CSS = """
    HelpDialog > #box { padding: 0 1; max-height: 100%; height: 1fr; margin-bottom: 1; }
    HelpDialog Horizontal { height: auto; }
    HelpDialog .name { width: 13; }
    HelpDialog .text { width: 1fr; }
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
            yield from (self._entry(name, text) for name, text in self._entries)
            yield Static(self._palette.text(texts.HELP_NOTHING), id="nothing")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        self.query_one(Input).cursor_blink = False
        self._show_matches("")
        self.query_one("#box").focus()

    def _entry(self, name: str, text: str) -> Horizontal:
        return Horizontal(
            Static(Text(self._palette.text(name), self._palette.ink("strong")), classes="name"),
            Static(Text(self._palette.text(text)), classes="text"),
        )

    def action_search(self) -> None:
        field = self.query_one(Input)
        field.add_class("asked")
        field.focus()

    def on_input_changed(self, event: Input.Changed) -> None:
        self._show_matches(event.value)

    def on_input_submitted(self) -> None:
        self.query_one("#box").focus()

    def _show_matches(self, asked: str) -> None:
        words = asked.lower().split()
        found = 0
        for entry, (name, text) in zip(self.query(Horizontal), self._entries, strict=True):
            line = f"{name} {text}".lower()
            entry.display = all(word in line for word in words)
            found += entry.display
        self.query_one("#nothing").display = not found

    def action_leave(self) -> None:
        self.dismiss(None)
