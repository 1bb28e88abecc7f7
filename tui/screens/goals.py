"""Choosing another goal, and seeing beforehand how the programme would compare."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option

from sidecar.settings.goals import Goal
from tui import texts
from tui.drawing.cells import Row
from tui.drawing.panels.goals import goal_head, goal_row
from tui.drawing.view import View
from tui.palette import Palette
from tui.screens.dialog import Dialog, inner_width

_FRAME = 8
"""Cells that the box, its padding and the list's own marks take from the screen's width."""


class GoalDialog(Dialog[str | None]):
    """The name of the chosen goal; None when the present one stays."""

    DEFAULT_CSS = """
    GoalDialog OptionList:focus > .option-list--option-highlighted { background: $panel; text-style: bold; }
    GoalDialog OptionList, GoalDialog OptionList:focus {
        height: auto; max-height: 100%; border: none; padding: 0; background: $surface;
    }
    GoalDialog #source { color: $foreground; height: auto; max-height: 3; }
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,g", "leave", "Keep goal", key_display="esc"),
    ]

    def __init__(self, goals: Sequence[Goal], view: View, palette: Palette) -> None:
        super().__init__()
        self._goals = goals
        self._view = view
        self._palette = palette
        self._shown: list[Row] = []

    def compose(self) -> ComposeResult:
        with Vertical(id="box"):
            yield Static(id="head")
            yield OptionList(*(Option(goal.name, id=str(i)) for i, goal in enumerate(self._goals)))
            yield Static(id="source")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        names = [goal.name for goal in self._goals]
        present = self._view.snapshot.goal.name
        self.query_one(OptionList).highlighted = names.index(present) if present in names else 0
        self.show(self._view)

    def on_resize(self) -> None:
        self._shown = []
        self.show(self._view)

    def show(self, view: View) -> None:
        """Keeps the offsets live while the dialog is open."""
        self._view = view
        if not self.query(OptionList):  # on a busy machine the size comes before the content
            return
        width = inner_width(self.size.width, _FRAME)
        rows = [goal_row(goal, view.snapshot.reading, width) for goal in self._goals]
        options = self.query_one(OptionList)
        if len(self._shown) != len(rows):
            self.query_one("#head", Static).update(self._text(goal_head(width)))
            self._shown = [()] * len(rows)
        for index, row in enumerate(rows):
            if row != self._shown[index]:
                options.replace_option_prompt_at_index(index, self._text(row))
        self._shown = rows

    def _text(self, row: Row) -> Text:
        return Text.assemble(
            *((self._palette.text(text), self._palette.ink(tone)) for text, tone in row),
            no_wrap=True,
            overflow="crop",
        )

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        goal = self._goals[event.option_index]
        self.query_one("#source", Static).update(
            Text(f"\n{self._palette.text(f'{goal.title}. {goal.source}')}\n{texts.GOALS_HOW}")
        )

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(self._goals[event.option_index].name)

    def action_leave(self) -> None:
        self.dismiss(None)
