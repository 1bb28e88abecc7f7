"""The panel of arming and the earlier pass."""

from __future__ import annotations

from tui.drawing.cells import Row
from tui.drawing.panels import standing
from tui.drawing.view import View
from tui.widgets.panel import Panel


class Standing(Panel):
    """Shows arming and the earlier pass; no row where none applies."""

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """See :func:`tui.drawing.panels.standing.standing_rows`."""
        return standing.standing_rows(view, width, height)
