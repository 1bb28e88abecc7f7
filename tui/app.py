"""The screen as an app: one timer that looks at the feed, and the screens it shows."""

from __future__ import annotations

import sys
from dataclasses import replace
from typing import ClassVar

from textual.app import App
from textual.binding import BindingType
from textual.theme import Theme

from sidecar.feed import Feed
from tui.desk import Desk
from tui.drawing.view import View
from tui.palette import COLOURS, GREYS, SIXTEEN, Palette
from tui.screens.dialog import Dialog
from tui.screens.main import MainScreen

LOOK_S = 0.1
"""Time between two looks at the feed: short-term is renewed ten times a second (Tech 3341 §2.2)."""

_THEME = Theme(
    name="sidecar",
    primary=COLOURS["under"],
    secondary=COLOURS["track"],
    accent=COLOURS["over"],
    foreground=COLOURS["plain"],
    background=COLOURS["paper"],
    surface="#1c1f22",
    panel=COLOURS["held"],
    variables={"footer-background": COLOURS["paper"], "footer-key-foreground": COLOURS["under"]},
)


class SidecarApp(App[None]):
    """Draws a feed. It measures nothing and nothing waits for it."""

    TITLE = "Loudness Sidecar"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = []

    CSS = """
    MainScreen { background: $background; layout: vertical; overflow: hidden; }
    Footer KeyGroup.-compact { padding-left: 0; }
    Footer.-compact FooterLabel { margin: 0 1 0 0; }
    App.-ascii Dialog > #box { border: ascii $secondary; scrollbar-size: 0 0; }
    """

    def __init__(self, feed: Feed, *, ascii_only: bool = False) -> None:
        super().__init__()
        self.register_theme(_THEME)
        self.theme = _THEME.name
        self.animation_level = "none"
        self.set_class(ascii_only, "-ascii")
        self.desk = Desk(feed, half_blocks=not ascii_only)
        inks = SIXTEEN if self.console.color_system == "standard" else COLOURS
        self.palette = Palette(GREYS if self.no_color else inks, ascii_only=ascii_only)
        self._view: View | None = None

    def on_mount(self) -> None:
        self.push_screen(MainScreen(self.desk, self.palette))
        self.set_interval(LOOK_S, self.look)

    def look(self) -> None:
        """Show the run as it is now. Whatever fails is said on the screen and ends nothing."""
        try:
            view = self._view = self.desk.look()
        except Exception as error:  # a feed that fails must not take the screen away
            if self._view is None:
                return
            view = replace(self._view, fault=f"no news from the run: {error}")
        for screen in self.screen_stack:
            if isinstance(screen, MainScreen | Dialog) and screen.is_mounted:
                screen.show(view)


def make_app(feed: Feed, *, ascii_only: bool | None = None) -> SidecarApp:
    """The app for *feed*, which stays the caller's to close.

    ascii_only: None looks at the terminal's encoding; True draws without any character beyond ASCII.
    """
    if ascii_only is None:
        ascii_only = not _speaks_unicode()
    return SidecarApp(feed, ascii_only=ascii_only)


def _speaks_unicode() -> bool:
    """Textual writes to the original standard error; its encoding decides what arrives."""
    encoding = getattr(sys.__stderr__, "encoding", None) or "utf-8"
    return "utf" in encoding.lower()
