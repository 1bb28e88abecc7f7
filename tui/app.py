"""The screen as an app: one timer that reads the feed, and the screens it shows."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import cycle
from typing import ClassVar

from textual.app import App
from textual.binding import BindingType
from textual.events import AppBlur
from textual.theme import Theme

from sidecar.model.snapshot import Feed
from tui import texts
from tui.controller import Controller, RunKind
from tui.drawing.view import View
from tui.palette import Palette
from tui.screens.dialog import Dialog
from tui.screens.main import MainScreen
from tui.theme import Contrast, Inks, inks

LOOK_S = 0.05
"""Time between two drawings of the scales: at twenty a second they are seen to move, not to jump. All else is
drawn half as often, which is what Tech 3341 §2.2 asks for."""


def _theme(table: Inks) -> Theme:
    """What dialogs and the footer are drawn with; the weight of an ink is left to the panels."""
    colour = {name: ink.split()[-1] for name, ink in table.items()}
    return Theme(
        name="sidecar",
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
    contrast: Contrast = "usual"
    kind: RunKind = "live"


class SidecarApp(App[str]):
    """Draws a feed. It measures nothing, and no other thread waits for it."""

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
        super().__init__()
        sixteen = self.console.color_system == "standard"
        chosen = inks(looks.contrast, sixteen=sixteen, grey=self.no_color)
        self.register_theme(_theme(chosen))
        self.theme = "sidecar"
        self.animation_level = "none"
        self.set_class(looks.ascii_only, "-ascii")
        self.controller = Controller(feed, half_blocks=not looks.ascii_only, kind=looks.kind)
        self.palette = Palette(chosen, ascii_only=looks.ascii_only)
        self.is_over: Callable[[], bool] = lambda: False
        """True once the end was requested from outside: by a signal, or a closed terminal."""
        self._view: View | None = None
        self._turns = cycle((self.refresh_view, self.glance))

    def on_app_blur(self, event: AppBlur) -> None:
        """Ignores the loss of focus: the screen is watched without it, so its footer must not stand still."""
        event.prevent_default()

    def on_mount(self) -> None:
        self.push_screen(MainScreen(self.controller, self.palette))
        self.set_interval(LOOK_S, self._turn)

    def _turn(self) -> None:
        next(self._turns)()

    def refresh_view(self) -> None:
        """Show the run as it is now. Whatever fails is said on the screen and ends nothing."""
        if self.is_over():
            self.exit()
            return
        try:
            view = self._view = self.controller.read_view()
        except Exception as error:  # a feed that fails must not take the screen away
            if self._view is None:
                return
            view = replace(self._view, fault=texts.NO_NEWS.format(error=error))
        for screen in self.screen_stack:
            if isinstance(screen, MainScreen | Dialog) and screen.is_mounted:
                screen.show(view)

    def glance(self) -> None:
        """Move what is to be seen moving; the rest, which changes ten times a second, waits for the next
        look."""
        if self._view is None:
            return
        with contextlib.suppress(Exception):  # the next refresh reports a feed that fails
            self._view = self.controller.glance(self._view)
        for screen in self.screen_stack[-1:]:
            if isinstance(screen, MainScreen):
                screen.show_moving(self._view)


def make_app(
    feed: Feed, *, ascii_only: bool | None = None, contrast: Contrast = "usual", kind: RunKind = "live"
) -> SidecarApp:
    """The app for *feed*, which stays the caller's to close.

    ascii_only: None looks at the terminal's encoding; True draws without any character beyond ASCII.
    kind: what the screen shows; it decides which keys are offered and what is asked first.
    """
    if ascii_only is None:
        ascii_only = not _speaks_unicode()
    return SidecarApp(feed, Looks(ascii_only, contrast, kind))


def _speaks_unicode() -> bool:
    """Textual writes to the original standard error; its encoding decides what arrives."""
    encoding = getattr(sys.__stderr__, "encoding", None) or "utf-8"
    return "utf" in encoding.lower()
