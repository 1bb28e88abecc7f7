"""A list over the instrument that is kept as the run finds it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import Footer, Static

from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Row, Run
from tui.drawing.panels.rides import ride_head, ride_row
from tui.drawing.view import View
from tui.palette import Palette
from tui.screens.dialog import Dialog, inner_width, prose

_WIDTH = 48
_FRAME = 8


class ListDialog(Dialog[None]):
    """What a subclass lists, anew with each view."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,i,b,q", "leave", texts.BACK, key_display="esc"),
    ]

    def __init__(self, view: View, palette: Palette) -> None:
        super().__init__()
        self._view = view
        self._palette = palette
        self._text = Text()

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="box"):
            yield Static(id="list")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        self.show(self._view)

    def show(self, view: View) -> None:
        """The latest view of it."""
        self._view = view
        text = prose(self.list_rows(view), self._palette)
        if text != self._text and self.query("#list"):  # on a busy machine the size comes before the content
            self._text = text
            self.query_one("#list", Static).update(text)

    def list_rows(self, view: View) -> list[Run]:
        """The list as toned text, over several lines."""
        raise NotImplementedError

    @property
    def text_width(self) -> int:
        """Cells of a line inside the box, its frame, padding and scrollbar left out."""
        return inner_width(self.size.width, _FRAME)

    def on_resize(self) -> None:
        self.show(self._view)

    def action_leave(self) -> None:
        self.dismiss(None)


class RidesDialog(ListDialog):
    """Where the fader must leave its line and come back."""

    def list_rows(self, view: View) -> list[Run]:
        rides = view.snapshot.rides
        runs: list[Run] = [(f"{_in_unit(view.snapshot.rides_reason, view) or texts.NO_RIDES}\n", "plain")]
        if any(ride.gain_db > 0.0 for ride in rides):
            runs.append((texts.RIDE_UP.format(caution=texts.LOUDER), "strong"))
        table = (ride_head(_WIDTH), *(ride_row(ride, _WIDTH) for ride in rides)) if rides else ()
        return [*runs, *lines(table)]


class BalanceDialog(ListDialog):
    """Which fader to bring up next from silence, and to where."""

    def list_rows(self, view: View) -> list[Run]:
        openings = view.snapshot.build_up
        runs: list[Run] = [
            (texts.BALANCE_HOW, "strong"),
            (texts.BALANCE_CAUTION, "over bold"),
        ]
        if not openings:
            runs.append((texts.BALANCE_LISTENING, "plain"))
        for place, opening in enumerate(openings, 1):
            runs += [(f"\n{place:>2}  ", "dim"), (_in_unit(opening.reason, view), "plain")]
        return runs


def _in_unit(sentence: str, view: View) -> str:
    return wording.in_unit(sentence, view.snapshot.goal, relative=view.relative)


def lines(rows: Sequence[Row]) -> list[Run]:
    """Each row on a line of its own, below what is before."""
    return [run for row in rows for run in (("\n", "plain"), *row)]
