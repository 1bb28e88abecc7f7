"""The list of all commands by name, and of the goals, for use without their keys."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Protocol, cast

from textual.actions import parse
from textual.binding import Binding
from textual.command import CommandPalette, DiscoveryHit, Hit, Hits, Provider
from textual.widgets import Input

from sidecar.settings.goals import Goal
from tui import texts
from tui.controller import Controller
from tui.drawing import wording
from tui.palette import Palette

_ITSELF = "commands"


class ScreenWithKeys(Protocol):
    """What the list needs of the screen whose keys it offers."""

    controller: Controller
    palette: Palette
    keys: tuple[Binding, ...]

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Whether that does something now."""

    async def run_action(self, action: str) -> bool:
        """Does it."""


@dataclass(frozen=True, slots=True)
class Named:
    """A command with the words that it is found by."""

    name: str
    meaning: str
    run: Callable[[], Awaitable[object]]


class RunCommands(Provider):
    """The keys that do something now, each once, and the goals that may be chosen."""

    async def discover(self) -> Hits:
        for command in self._commands():
            yield DiscoveryHit(self._text(command.name), command.run, help=self._text(command.meaning))

    async def search(self, query: str) -> Hits:
        matcher = self.matcher(query)
        for command in self._commands():
            name, meaning = self._text(command.name), self._text(command.meaning)
            score = max(matcher.match(name), matcher.match(meaning) / 2.0)
            if score > 0.0:
                yield Hit(score, matcher.highlight(name), command.run, text=name, help=meaning)

    def _commands(self) -> Iterator[Named]:
        screen = cast(ScreenWithKeys, self.screen)
        seen = {_ITSELF}
        for binding in screen.keys:
            _, action, parameters = parse(binding.action)
            if binding.action in seen or not screen.check_action(action, parameters):
                continue
            seen.add(binding.action)
            run = partial(screen.run_action, binding.action)
            yield Named(
                binding.description, f"{binding.tooltip}  ({binding.key_display or binding.key})", run
            )
        if screen.check_action("goals", ()):
            yield from _goals(screen.controller.feed.goals(), screen)

    def _text(self, text: str) -> str:
        return cast(ScreenWithKeys, self.screen).palette.text(text)


def _goals(goals: Sequence[Goal], screen: ScreenWithKeys) -> Iterator[Named]:
    for goal in goals:
        figures = f"{wording.plain(goal.target_lufs)} {goal.unit}, {wording.plain(goal.ceiling_dbtp)} dBTP"
        yield Named(
            texts.COMMANDS_GOAL.format(title=goal.title or goal.name),
            figures,
            partial(_aim, screen, goal.name),
        )


async def _aim(screen: ScreenWithKeys, name: str) -> None:
    screen.controller.select_goal(name)


class Commands(CommandPalette):
    """The list of commands, in the manner of the other dialogs; nothing in it moves or blinks."""

    DEFAULT_CSS = """
    Commands { background: transparent; }
    Commands > Vertical { width: 100%; max-width: 100; margin-top: 1; background: $surface; }
    Commands #--input { border: none; background: $panel; padding: 0 1; height: 1; }
    Commands #--input CommandInput, Commands #--input CommandInput:focus {
        border: none; height: 1; padding: 0 1; background: $panel;
    }
    Commands SearchIcon { display: none; }
    Commands #--input Input > .input--placeholder { color: $foreground; text-style: italic; }
    Commands #--results { background: $surface; }
    Commands CommandList, Commands CommandList:focus {
        border: none; background: $surface; scrollbar-size-vertical: 1;
    }
    Commands CommandList > .option-list--option-highlighted { background: $panel; text-style: bold; }
    Commands LoadingIndicator { display: none; }
    Commands > .command-palette--help-text { color: $foreground; text-style: not bold not dim; }
    """

    def __init__(self) -> None:
        super().__init__(providers=[RunCommands], placeholder=texts.COMMANDS_HOW)

    def on_mount(self) -> None:
        self.query_one(Input).cursor_blink = False
