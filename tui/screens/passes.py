"""The passes on record beside the one that plays."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Run
from tui.drawing.panels.passes import pass_rows
from tui.drawing.view import View
from tui.screens.listing import ListDialog, lines


class PassesDialog(ListDialog):
    """This pass and those before it, each with its difference to the one before."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("e", "leave", "Back", show=False)]

    def list_rows(self, view: View) -> list[Run]:
        if not view.snapshot.passes:
            return [(texts.NO_PASSES, "plain")]
        goal = view.snapshot.goal
        unit = texts.LU_FROM.format(goal=f"{wording.plain(goal.target_lufs)} {goal.unit}")
        how = (texts.PASSES_HOW.format(unit=unit if view.relative else goal.unit), "dim")
        return [how, *lines(pass_rows(view, self.text_width))]
