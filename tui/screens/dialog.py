"""What opens over the instrument: a box in the middle and its own keys at the bottom."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

from rich.text import Text
from textual.screen import ModalScreen

from tui.drawing.cells import Run
from tui.drawing.view import View
from tui.palette import Palette

Result = TypeVar("Result")

_WIDEST = 100
"""Columns of a dialog."""


def inner_width(screen_width: int, frame: int) -> int:
    """Cells of a line in a dialog, whose frame, padding and scrollbar take *frame* cells."""
    return max(20, min(_WIDEST, screen_width) - frame)


class Dialog(ModalScreen[Result]):
    """A box over the instrument, which goes on measuring and drawing behind it."""

    DEFAULT_CSS = """
    Dialog { align: center middle; background: transparent; }
    Dialog > #box {
        width: 100%; max-width: 100; height: auto; max-height: 90%;
        padding: 1 2;
        scrollbar-size-vertical: 1; scrollbar-color: $secondary; scrollbar-background: $surface;
        background: $surface; border: round $secondary;
    }
    """

    def show(self, view: View) -> None:
        """A new view of the run, for dialogs that follow it."""


def prose(runs: Iterable[Run], palette: Palette) -> Text:
    """Toned text over several lines, as this terminal can show it."""
    return Text.assemble(
        *(
            ("\n".join(palette.text(line) for line in text.split("\n")), palette.ink(tone))
            for text, tone in runs
        )
    )
