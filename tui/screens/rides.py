"""The rides of the fader, one a line."""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import Footer, Static

from tui.drawing.advice import CAUTION
from tui.drawing.rides import ride_head, ride_row
from tui.drawing.view import View
from tui.palette import Palette
from tui.screens.dialog import Dialog, prose

_WIDTH = 48


class RidesDialog(Dialog[None]):
    """Where the fader must leave its line and come back, kept as the run finds it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,i,q", "leave", "Back (up and down scroll)", key_display="esc"),
    ]

    def __init__(self, view: View, palette: Palette) -> None:
        super().__init__()
        self._view = view
        self._palette = palette
        self._text = Text()

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="box"):
            yield Static(id="rides")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        self.show(self._view)

    def show(self, view: View) -> None:
        """The latest plan."""
        text = self._listed(view)
        if text != self._text:
            self._text = text
            self.query_one("#rides", Static).update(text)

    def _listed(self, view: View) -> Text:
        rides = view.snapshot.rides
        runs = [(f"{view.snapshot.rides_reason or 'No rides yet.'}\n", "plain")]
        if any(ride.gain_db > 0.0 for ride in rides):
            runs.append((f"▲ is {CAUTION}\n", "strong"))
        for row in (ride_head(_WIDTH), *(ride_row(ride, _WIDTH) for ride in rides)) if rides else ():
            runs += [("\n", "plain"), *row]
        return prose(runs, self._palette)

    def action_leave(self) -> None:
        self.dismiss(None)
