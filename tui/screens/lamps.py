"""Every shape and colour of the screen, to check that they can be distinguished on this terminal."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from tui.drawing.cells import Run
from tui.drawing.panels.legend import lamp_rows
from tui.drawing.view import View
from tui.screens.listing import ListDialog, lines


class LampDialog(ListDialog):
    """Static: nothing in it changes with the run, and nothing blinks."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("t", "leave", "Back", show=False)]

    def list_rows(self, view: View) -> list[Run]:
        return lines(lamp_rows(view, self.text_width))[1:]
