"""Naming a marker."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import Footer, Input, Static

from tui import texts
from tui.screens.dialog import Dialog


class LabelDialog(Dialog[str | None]):
    """The label of a marker; None when none is wanted."""

    DEFAULT_CSS = """
    LabelDialog Input, LabelDialog Input:focus { border: none; height: 1; background: $panel; padding: 0 1; }
    """

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", "No marker")]

    def compose(self) -> ComposeResult:
        with Vertical(id="box"):
            yield Static(texts.LABEL_HOW)
            field = Input(max_length=40, select_on_focus=False)
            field.cursor_blink = False
            yield field
        yield Footer(compact=True, show_command_palette=False)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        self.dismiss(event.value.strip())

    def action_leave(self) -> None:
        self.dismiss(None)
