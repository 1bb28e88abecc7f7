"""The screen as an app: one timer that reads the feed, and the screens it shows."""

from __future__ import annotations

import os
import select
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import ClassVar

from rich.console import RenderableType
from textual.app import App
from textual.binding import Binding, BindingType
from textual.driver import Driver
from textual.events import AppBlur, CursorPosition, Event, Key, MouseDown
from textual.theme import Theme

from sidecar.model.snapshot import Feed
from sidecar.settings.taste import AT_FIRST, Shade, Taste
from tui import texts
from tui.controller import Controller, RunKind
from tui.drawing.view import View
from tui.driver import GroundIs, erases_in_colour, sparing
from tui.ground import question, shade_named
from tui.keys import KEYS
from tui.own_keys import key_names
from tui.pace import USUAL_HZ, Pace
from tui.palette import Palette
from tui.screens.dialog import Dialog
from tui.screens.main import MainScreen
from tui.sent_cells import SentCells
from tui.theme import Inks, inks

_WHERE_IS_THE_CURSOR = "\x1b[6n"
"""ECMA-48 §8.3.35: device status report, of the active position."""
_ANSWER_S = 0.03
"""After a key or a click: long enough for what it does, and far shorter than the wait for the next tick."""
_SENT_WHOLE = 100
"""Drawings after which rows that change are sent whole once: another program may have written over them."""
_PARTING_S = 1.0
"""How long the end waits for the terminal's last answer, which would else be typed into the shell."""


def _theme(name: str, table: Inks, shade: Shade) -> Theme:
    """What dialogs and the footer are drawn with; the weight of an ink is left to the panels."""
    colour = {name: ink.split()[-1] for name, ink in table.items()}
    return Theme(
        name=name,
        dark=shade == "dark",
        primary=colour["under"],
        secondary=colour["track"],
        accent=colour["over"],
        foreground=colour["plain"],
        background=colour["paper"],
        surface=colour["sheet"],
        panel=colour["latched"],
        variables={"footer-background": colour["paper"], "footer-key-foreground": colour["under"]},
    )


@dataclass(frozen=True, slots=True)
class Looks:
    """How a screen is to look, whatever it shows."""

    ascii_only: bool = False
    kind: RunKind = "live"
    taste: Taste = AT_FIRST
    most_hz: int = USUAL_HZ
    keys: tuple[Binding, ...] = KEYS


class SidecarApp(App[float]):
    """Draws a feed. It measures nothing, and no other thread waits for it.

    It returns the fader position that a rehearsal is to be played again from; None where it is not.
    """

    TITLE = "Loudness Sidecar"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = []

    CSS = """
    MainScreen { background: $background; layout: vertical; overflow: hidden; }
    Footer KeyGroup.-compact { padding-left: 0; }
    Footer.-compact FooterLabel { margin: 0 1 0 0; }
    App.-ascii Dialog > #box { border: ascii $secondary; scrollbar-size: 0 0; }
    App.-ascii CommandList { scrollbar-size: 0 0; }
    """

    def __init__(self, feed: Feed, looks: Looks = Looks()) -> None:
        self._cells = SentCells(erases_in_colour=erases_in_colour())
        self._ascii_only = looks.ascii_only
        super().__init__()
        self.animation_level = "none"
        self.set_class(looks.ascii_only, "-ascii")
        self.controller = Controller(
            feed,
            half_blocks=not looks.ascii_only,
            kind=looks.kind,
            taste=looks.taste,
            keys=key_names(looks.keys),
        )
        self.palette = Palette(ascii_only=looks.ascii_only)
        self._own_shade = shade_named(os.environ.get("COLORFGBG", ""))
        """That of the terminal, until it answers; a tab of a browser is given it."""
        self._choose_inks()
        self.is_over: Callable[[], bool] = lambda: False
        """True once the end was requested from outside: by a signal, or a closed terminal."""
        self._view: View | None = None
        self.pace = Pace(looks.most_hz)
        self._keys = looks.keys
        self._sent_whole_due = _SENT_WHOLE
        self._part: Callable[[], None] | None = None

    def get_driver_class(self) -> type[Driver]:
        """See :class:`App`."""
        return sparing(super().get_driver_class(), self._cells, ascii_only=self._ascii_only)

    def on_resize(self) -> None:
        """Sends all cells anew: what a terminal keeps of them at another size is its own affair."""
        self._cells.forget()

    def on_app_blur(self, event: AppBlur) -> None:
        """Ignores the loss of focus: the screen is watched without it, so its footer must still change."""
        event.prevent_default()

    def _choose_inks(self) -> None:
        """Draws in the contrast and on the ground that are chosen, with the colours that the terminal has."""
        taste = self.controller.taste
        shade = self._own_shade if taste.ground == "auto" else taste.ground
        sixteen = self.console.color_system == "standard"
        chosen = inks(taste.contrast, shade, sixteen=sixteen, grey=self.no_color)
        name = f"{shade}-{taste.contrast}"
        self.palette.use(chosen)
        self.register_theme(_theme(name, chosen, shade))
        self.theme = name

    def on_taste_changed(self) -> None:
        """Draws in other inks."""
        self._choose_inks()
        for screen in self.screen_stack:
            if isinstance(screen, MainScreen):
                screen.draw_anew()

    def on_ground_is(self, event: GroundIs) -> None:
        """The terminal says what its ground is."""
        if event.shade != self._own_shade:
            self._own_shade = event.shade
            self.on_taste_changed()

    def on_mount(self) -> None:
        if not (self.is_headless or self.is_web or sys.platform == "win32") and self._driver is not None:
            self._driver.write(question(os.environ))  # the answer to the next question comes after this one's
        self._ask()
        self.push_screen(MainScreen(self.controller, self.palette, self._keys))
        self.set_interval(1.0 / self.pace.most_hz, self._turn)

    async def on_event(self, event: Event) -> None:
        """Hands the event on; a drawing shows soon what a key or a click did."""
        if isinstance(event, Key | MouseDown):
            self.pace.hurry()
            self.set_timer(_ANSWER_S, self._answer)
        await super().on_event(event)

    def _answer(self) -> None:
        if self.pace.is_hurried:
            self._turn()

    def _turn(self) -> None:
        """Draws, where the terminal has what was drawn before."""
        if self.is_over():
            self.exit()
        if self._part is not None or not self.pace.is_due(time.monotonic()):
            return
        if not self.pace.answers and not self._is_writable():
            return
        self._sent_whole_due -= 1
        if self._sent_whole_due <= 0 and not self.pace.is_slow:
            self._sent_whole_due = _SENT_WHOLE
            self._cells.forget()
        self.refresh_view()

    def post_display_hook(self) -> None:
        """Asks the terminal whether it has what was just drawn."""
        if self._part is None and not self.pace.is_waiting:
            self._ask()

    def _ask(self) -> None:
        if self.is_headless or self._driver is None:
            return
        self._driver.write(_WHERE_IS_THE_CURSOR)
        self._driver.flush()
        self.pace.asked(time.monotonic())

    def on_cursor_position(self, _event: CursorPosition) -> None:
        """The terminal has arrived at what was drawn."""
        self.pace.answered(time.monotonic())
        if self._part is not None:
            self._part()

    def _is_writable(self) -> bool:
        """Whether the output takes more; True where that cannot be found out."""
        if self.is_headless or sys.__stderr__ is None:
            return True
        try:
            return bool(select.select([], [sys.__stderr__.fileno()], [], 0.0)[1])
        except (OSError, ValueError):  # on Windows only sockets can be waited for
            return True

    def exit(
        self, result: float | None = None, return_code: int = 0, message: RenderableType | None = None
    ) -> None:
        """Ends once the terminal has given its last answer, or after _PARTING_S."""
        if self._part is not None:
            return
        leave = partial(super().exit, result, return_code, message)
        if self.pace.answers and self.pace.is_waiting:
            self._part = leave
            self.set_timer(_PARTING_S, leave)
        else:
            leave()

    def refresh_view(self) -> None:
        """Show the run as it is now. Whatever fails is said on the screen and ends nothing."""
        try:
            view = self._view = replace(self.controller.read_view(), is_line_slow=self.pace.is_slow)
        except Exception as error:  # a feed that fails must not take the screen away
            if self._view is None:
                return
            view = replace(self._view, fault=texts.NO_NEWS.format(error=error))
        for screen in self.screen_stack:
            if isinstance(screen, MainScreen | Dialog) and screen.is_mounted:
                screen.show(view)


def make_app(
    feed: Feed,
    *,
    ascii_only: bool | None = None,
    kind: RunKind = "live",
    taste: Taste = AT_FIRST,
    most_hz: int = USUAL_HZ,
    keys: tuple[Binding, ...] = KEYS,
) -> SidecarApp:
    """The app for *feed*, which stays the caller's to close.

    ascii_only: None looks at the terminal's encoding; True draws without any character beyond ASCII.
    kind: what the screen shows; it decides which keys are offered and what is asked first.
    taste: how the screen is set at first.
    most_hz: drawings a second at most. keys: those of the instrument.
    """
    if ascii_only is None:
        ascii_only = not _speaks_unicode()
    return SidecarApp(feed, Looks(ascii_only, kind, taste, most_hz, keys))


def _speaks_unicode() -> bool:
    """Textual writes to the original standard error; its encoding decides what arrives."""
    encoding = getattr(sys.__stderr__, "encoding", None) or "utf-8"
    return "utf" in encoding.lower()
