"""The panel of the alerts."""

from __future__ import annotations

from tui.drawing.cells import Row
from tui.drawing.panels import status
from tui.drawing.view import View
from tui.widgets.panel import Panel


class Alerts(Panel):
    """Each alert with its word and shape, and what the measurement has lost."""

    has_notice = False
    """True where notices have no row of their own."""

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """See :func:`tui.drawing.panels.status.alerts_row`."""
        return [status.alerts_row(view, width, has_notice=self.has_notice)] if height else []
