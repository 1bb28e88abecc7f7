"""The panel of the measures."""

from __future__ import annotations

from tui.drawing.cells import Row
from tui.drawing.panels import scales
from tui.drawing.panels.distribution import Distribution
from tui.drawing.view import View
from tui.palette import Palette
from tui.widgets.panel import Panel


class Scales(Panel):
    """The measures as offsets from the goal."""

    def __init__(self, palette: Palette) -> None:
        super().__init__(palette)
        self.parts = scales.Rows()
        self._distribution = Distribution()

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """See :func:`tui.drawing.panels.scales.scales`."""
        return scales.scales(view, width, height, self.parts, self._distribution)
