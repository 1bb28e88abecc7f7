"""The panel of the programme's course."""

from __future__ import annotations

from tui.drawing.cells import Row
from tui.drawing.course import CourseDrawing
from tui.drawing.view import View
from tui.palette import Palette
from tui.widgets.panel import Panel


class CoursePanel(Panel):
    """Short-term over time, with the forecast ahead of now."""

    def __init__(self, palette: Palette) -> None:
        super().__init__(palette)
        self._drawing = CourseDrawing()

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """See :class:`tui.drawing.course.CourseDrawing`."""
        return self._drawing.rows(view, width, height)

    async def on_mouse_scroll_up(self) -> None:
        """The wheel looks closer …"""
        await self.run_action("screen.zoom(-1)")

    async def on_mouse_scroll_down(self) -> None:
        """… and wider."""
        await self.run_action("screen.zoom(1)")
