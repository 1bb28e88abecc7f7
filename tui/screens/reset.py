"""Asking before a measurement is thrown away."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import Footer, Static

from tui import texts
from tui.screens.dialog import Dialog


class ResetDialog(Dialog[bool]):
    """True when the measurement shall begin anew."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y,enter", "answer(True)", "Reset", key_display="y"),
        Binding("n,escape", "answer(False)", "Keep measuring", key_display="n"),
    ]

    def __init__(self, measured: str) -> None:
        super().__init__()
        self._measured = measured

    def compose(self) -> ComposeResult:
        with Vertical(id="box"):
            yield Static(texts.RESET_QUESTION.format(measured=self._measured))
        yield Footer(compact=True, show_command_palette=False)

    def action_answer(self, yes: bool) -> None:
        self.dismiss(yes)
