"""What happened, and whether OSC gets out."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from tui import texts
from tui.drawing.cells import Run
from tui.drawing.panels.log import log_rows, summary, target_rows
from tui.drawing.view import View
from tui.screens.listing import ListDialog, lines


class LogDialog(ListDialog):
    """Alerts, moves, marks, gaps, goals and stretches over the limit, newest first."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("l", "leave", "Back", show=False),
    ]

    def list_rows(self, view: View) -> list[Run]:
        width = self.text_width
        happened = lines(log_rows(view, width))
        sent = lines(target_rows(view.snapshot.targets, width))
        over = summary(view)
        return [*over, ("\n", "plain"), *happened, (f"\n\n{texts.SENDING}\n", "strong"), *sent[1:]]
