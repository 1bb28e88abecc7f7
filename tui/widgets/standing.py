"""The panel of the hand, the question and the earlier pass."""

from __future__ import annotations

from tui.drawing.cells import Row
from tui.drawing.panels import standing
from tui.drawing.view import View
from tui.widgets.panel import Panel


class Standing(Panel):
    """May the fader be moved, what is asked, what the forecast knows; no row where nothing stands."""

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """See :func:`tui.drawing.panels.standing.standing_rows`."""
        return standing.standing_rows(view, width, height)
