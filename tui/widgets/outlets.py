"""The panel of the notice and of where OSC goes."""

from __future__ import annotations

from tui.drawing.cells import Row
from tui.drawing.panels import status
from tui.drawing.view import View
from tui.widgets.panel import Panel


class Outlets(Panel):
    """What is worth saying in one line, and whether OSC gets out."""

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """See :func:`tui.drawing.panels.status.outlets`."""
        return status.outlets(view, width, height)
