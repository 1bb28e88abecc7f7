"""A question before something is lost: a measurement thrown away, or ended with its screen."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import Footer, Static

from tui import texts
from tui.screens.dialog import Dialog


class QuestionDialog(Dialog[bool]):
    """True for yes. A question has its own text and keys."""

    QUESTION: ClassVar[str]
    """With a place for what was measured so far."""

    def __init__(self, measured: str) -> None:
        super().__init__()
        self._measured = measured

    def compose(self) -> ComposeResult:
        with Vertical(id="box"):
            yield Static(self.QUESTION.format(measured=self._measured))
        yield Footer(compact=True, show_command_palette=False)

    def action_answer(self, yes: bool) -> None:
        self.dismiss(yes)


class ResetDialog(QuestionDialog):
    """True when the measurement shall begin anew."""

    QUESTION = texts.RESET_QUESTION
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y,enter", "answer(True)", "Reset", key_display="y"),
        Binding("n,escape", "answer(False)", "Keep measuring", key_display="n"),
    ]


class LeaveDialog(QuestionDialog):
    """True when the measurement shall end. A second q or Ctrl-C is as good as yes."""

    QUESTION = texts.LEAVE_QUESTION
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y,enter,q,ctrl+c", "answer(True)", "End it", key_display="y"),
        Binding("n,escape", "answer(False)", "Keep measuring", key_display="n"),
    ]
