"""A panel: rows of toned text that repaint only where they changed."""

from __future__ import annotations

from rich.segment import Segment
from textual.events import Resize
from textual.geometry import Region
from textual.selection import Selection
from textual.strip import Strip
from textual.widget import Widget

from tui import texts
from tui.drawing.cells import Row
from tui.drawing.view import View
from tui.palette import Palette


class Panel(Widget):
    """Shows what :meth:`draw` makes of the latest view; painting it costs a look-up."""

    DEFAULT_CSS = "Panel { width: 1fr; height: 0; }"

    def __init__(self, palette: Palette) -> None:
        super().__init__(id=type(self).__name__.lower())
        self.palette = palette
        self.fault = ""
        """Why the latest view could not be drawn; the one before stays. Empty when it was."""
        self._view: View | None = None
        self._rows: list[Row] = []
        self._strips: list[Strip] = []
        self._selection: Selection | None = None

    @property
    def rows(self) -> list[Row]:
        """What is shown, top to bottom."""
        return self._rows

    def draw(self, view: View, width: int, height: int) -> list[Row]:
        """*height* rows of *width* cells."""
        raise NotImplementedError

    def show(self, view: View) -> None:
        """Draw *view* and ask for a repaint of the rows that differ."""
        self._view = view
        width, height = self.size
        try:
            rows = self.draw(view, width, height) if width and height else []
        except Exception as error:  # a drawing must never end the screen of a running measurement
            self.fault = texts.CANNOT_BE_DRAWN.format(panel=self.id, error=error)
            return
        self.fault = ""
        changed = [y for y, row in enumerate(rows) if y >= len(self._rows) or row != self._rows[y]]
        self._strips = self._strips[: len(rows)] + [Strip.blank(width)] * (len(rows) - len(self._strips))
        self._rows = rows
        for y in changed:
            self._strips[y] = self.palette.strip(rows[y], width)
        if changed:
            self.refresh(*(Region(0, y, width, 1) for y in changed))

    def on_resize(self, _event: Resize) -> None:
        """Draw the same view for the new size."""
        self.draw_anew()

    def draw_anew(self) -> None:
        """Draws the same view, every row of it."""
        self._rows = []
        if self._view is not None:
            self.show(self._view)

    def render_lines(self, crop: Region) -> list[Strip]:
        """The rows of *crop*, ready-made: a panel has neither border nor padding, and its inks are final but
        where no colour is wanted."""
        if self.app.no_color:
            return super().render_lines(crop)
        rows = (self.render_line(y) for y in crop.line_range)
        if crop.x == 0 and crop.width == self.size.width:
            return list(rows)
        return [row.crop(crop.x, crop.right) for row in rows]

    def render_line(self, y: int) -> Strip:
        """The row *y*, ready-made."""
        if y >= len(self._strips):
            return Strip.blank(self.size.width, self.palette.style("plain"))
        strip = self._strips[y]
        if self._selection is None or (span := self._selection.get_span(y)) is None:
            return strip
        start, end = span[0], strip.cell_length if span[1] < 0 else span[1]
        selected = Segment(strip.crop(start, end).text, self.palette.style("paper on inside"))
        return Strip.join([strip.crop(0, start), Strip([selected]), strip.crop(end)])

    def selection_updated(self, selection: Selection | None) -> None:
        """Shows which cells are selected."""
        self._selection = selection
        super().selection_updated(selection)

    def get_selection(self, selection: Selection) -> tuple[str, str]:
        """The selected text as it is shown now, and what follows it."""
        return selection.extract("\n".join(strip.text.rstrip() for strip in self._strips)), "\n"
