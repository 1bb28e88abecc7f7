"""The panel of transport, programme time, goal and source."""

from __future__ import annotations

from tui.drawing.cells import Row
from tui.drawing.panels import status
from tui.drawing.view import View
from tui.widgets.panel import Panel


class Heading(Panel):
    """The first line of the screen."""

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """See :func:`tui.drawing.panels.status.heading`."""
        return [status.heading(view, width)] if height else []
