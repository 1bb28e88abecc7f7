"""The panel of the next move."""

from __future__ import annotations

from tui.drawing.cells import Row
from tui.drawing.panels import hero
from tui.drawing.view import View
from tui.widgets.panel import Panel


class Hero(Panel):
    """The one thing to read from across the room."""

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """See :func:`tui.drawing.panels.hero.hero`."""
        return hero.hero(view, width, height)
