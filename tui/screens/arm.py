"""Asking, with the caution and the limits, each time before the sidecar may move a fader."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import Footer, Static

from sidecar.model.snapshot import ArmState
from tui import texts
from tui.drawing.view import KeyNames
from tui.palette import Palette
from tui.screens.dialog import Dialog, prose


class ArmDialog(Dialog[bool]):
    """True when automatic moves are allowed. Enter, which a hand presses out of habit, allows none."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "answer(True)", "Allow"),
        Binding("escape,n,x", "answer(False)", "Cancel", key_display="esc"),
    ]

    def __init__(self, arm: ArmState, keys: KeyNames, palette: Palette, *, is_elsewhere: bool) -> None:
        """is_elsewhere: the fader is not in the room of this screen."""
        super().__init__()
        self._arm = arm
        self._keys = keys
        self._palette = palette
        self._is_elsewhere = is_elsewhere

    def compose(self) -> ComposeResult:
        arm = self._arm
        limits = texts.ARM_LIMITS.format(
            step_db=f"{arm.step_up_db:g}", total_db=f"{arm.total_up_db:g}", rate_db_s=f"{arm.rate_db_s:g}"
        )
        parts = (
            (f"{texts.ARM_QUESTION}\n", "strong"),
            (f"{arm.surface}: {limits}\n\n", "plain"),
            (f"{texts.ARM_ELSEWHERE}\n\n" if self._is_elsewhere else "", "over bold"),
            (texts.ARM_CAUTION_WORD, "over bold"),
            (f"{texts.ARM_CAUTION}\n\n", "plain"),
            (texts.ARM_KEYS.format(arm=self._keys.arm, follow=self._keys.follow), "plain"),
        )
        with Vertical(id="box"):
            yield Static(prose(parts, self._palette))
        yield Footer(compact=True, show_command_palette=False)

    def action_answer(self, yes: bool) -> None:
        self.dismiss(yes)
