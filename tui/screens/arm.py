"""Asking, with the caution, before the sidecar may move a fader."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import Footer, Static

from tui import texts
from tui.palette import Palette
from tui.screens.dialog import Dialog, prose


class ArmDialog(Dialog[bool]):
    """True when the sidecar is given leave. Enter, which a hand presses out of habit, gives none."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "answer(True)", "Arm"),
        Binding("n,x,escape", "answer(False)", "Leave it", key_display="n"),
    ]

    def __init__(self, surface: str, palette: Palette) -> None:
        super().__init__()
        self._surface = surface
        self._palette = palette

    def compose(self) -> ComposeResult:
        parts = (
            (texts.ARM_QUESTION.format(surface=self._surface), "strong"),
            (texts.ARM_CAUTION_WORD, "over bold"),
            (texts.ARM_CAUTION, "plain"),
            (texts.ARM_KEYS, "plain"),
        )
        with Vertical(id="box"):
            yield Static(prose(parts, self._palette))
        yield Footer(compact=True, show_command_palette=False)

    def action_answer(self, yes: bool) -> None:
        self.dismiss(yes)
