"""The panel of the stems."""

from __future__ import annotations

from tui.drawing.cells import Row
from tui.drawing.panels import stems
from tui.drawing.view import View
from tui.widgets.panel import Panel


class StemsPanel(Panel):
    """Every stem's fader and its move; no row where only the mix arrives."""

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """See :func:`tui.drawing.panels.stems.stem_rows`."""
        return stems.stem_rows(view, width, height)
