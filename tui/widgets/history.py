"""The panel of the programme's history."""

from __future__ import annotations

from textual.events import Click

from tui.drawing.cells import Row
from tui.drawing.columns import Window
from tui.drawing.panels.history import GUTTER, HistoryDrawing
from tui.drawing.view import View
from tui.palette import Palette
from tui.widgets.panel import Panel


class HistoryPanel(Panel):
    """Short-term over time, with the forecast ahead of now."""

    def __init__(self, palette: Palette) -> None:
        super().__init__(palette)
        self._drawing = HistoryDrawing()

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """See :class:`tui.drawing.panels.history.HistoryDrawing`."""
        return self._drawing.rows(view, width, height)

    @property
    def shown(self) -> Window | None:
        """The stretch of programme that is drawn; None where there is no room for any."""
        return self._drawing.shown if self.size.height else None

    async def on_click(self, event: Click) -> None:
        """The cursor goes where it was pointed at; at the end of a selection it stays."""
        if self.screen.selections:
            return
        x = event.x - GUTTER
        if self.shown is not None and x >= 0:
            await self.run_action(f"screen.place({self.shown.time_s(x)})")

    async def on_mouse_scroll_up(self) -> None:
        """The wheel looks closer …"""
        await self.run_action("screen.zoom(-1)")

    async def on_mouse_scroll_down(self) -> None:
        """… and wider."""
        await self.run_action("screen.zoom(1)")
