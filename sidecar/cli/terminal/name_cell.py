"""The name of a file in a table: broken where one of its words ends, as narrow as its longest word."""

from __future__ import annotations

import re

from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, RenderResult
from rich.measure import Measurement
from rich.text import Text

from sidecar.model.foreign_text import printable

_LONGEST_CELLS = 24
"""A word may make its column this wide; what is longer is broken within."""
_WORD = re.compile(r"[^\s/\\_-]*[\s/\\_-]*")
"""Letters and the separators behind them: a line may end after each."""


class NameCell:
    """A file's name, foreign text, as a table cell."""

    def __init__(self, name: str) -> None:
        self._words = [word for word in _WORD.findall(printable(name)) if word]

    def __rich_measure__(self, _console: Console, options: ConsoleOptions) -> Measurement:
        widths = [cell_len(word.rstrip()) for word in self._words] or [0]
        least = min(max(widths), _LONGEST_CELLS)
        return Measurement(least, cell_len("".join(self._words))).with_maximum(options.max_width)

    def __rich_console__(self, _console: Console, options: ConsoleOptions) -> RenderResult:
        yield Text("\n".join(self._lines(options.max_width)), overflow="fold")

    def _lines(self, width: int) -> list[str]:
        lines = [""]
        for word in self._words:
            if lines[-1] and cell_len(lines[-1] + word.rstrip()) > width:
                lines.append("")
            lines[-1] += word
        return [line.rstrip() for line in lines]
