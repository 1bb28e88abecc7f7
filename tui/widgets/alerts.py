"""The panel of the alerts."""

from __future__ import annotations

from tui.drawing.cells import Row
from tui.drawing.panels import status
from tui.drawing.view import View
from tui.widgets.panel import Panel


class Alerts(Panel):
    """Each alert with its word and shape, and what the measurement has lost."""

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """See :func:`tui.drawing.panels.status.alerts_row`."""
        return [status.alerts_row(view, width)] if height else []
