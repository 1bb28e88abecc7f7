"""Driving the screen in tests: a script runs beside the app and waits for what it expects."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable

from textual.pilot import Pilot

from sidecar.model.commands import Command
from sidecar.settings.taste import AT_FIRST
from tui.app import SidecarApp, make_app
from tui.drawing.cells import text_of
from tui.keys import KEYS
from tui.screens.main import MainScreen
from tui.widgets.panel import Panel

COMPACT = (80, 24)
GENEROUS = (120, 40)
TIME_OF_DAY = "20:15:07"
PATIENCE_S = 60.0
"""For what comes at once, on a machine that is busy with other things."""


def drive(
    feed,
    script: Callable[[Pilot], Awaitable[None]],
    size=COMPACT,
    *,
    ascii_only=False,
    kind="live",
    taste=AT_FIRST,
    keys=KEYS,
) -> SidecarApp:
    """Run *script* against the app of *feed* on a screen of *size* and return the app."""
    app = make_app(feed, ascii_only=ascii_only, kind=kind, taste=taste, keys=keys)
    app.controller.time_of_day = lambda: TIME_OF_DAY

    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await until(pilot, lambda: bool(shown(app)) and _has_a_view(app), "the first drawing")
            await script(pilot)

    asyncio.run(run())
    return app


def told_after(feed, *keys, size=COMPACT) -> list[Command]:
    """The commands that *keys* became."""

    async def script(pilot: Pilot) -> None:
        await pilot.press(*keys)

    drive(feed, script, size)
    return feed.told


async def until(pilot: Pilot, condition: Callable[[], bool], what: str) -> None:
    """Wait until *condition* holds."""
    end_s = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end_s, f"never came: {what}\n{shown(pilot.app)}"
        await pilot.pause(0.02)


def shown(app: SidecarApp) -> str:
    """The text of all panels, top to bottom."""
    panels = app.screen_stack[1].query(Panel) if len(app.screen_stack) > 1 else ()
    return "\n".join(text_of(row) for panel in panels for row in panel.rows)


def _has_a_view(app: SidecarApp) -> bool:
    """Whether the run was read: before that, keys that depend on it do nothing."""
    main = app.screen_stack[1]
    return isinstance(main, MainScreen) and main._view is not None


def rows_shown(app: SidecarApp) -> int:
    """How many rows all panels have together."""
    return len(shown(app).splitlines())


async def settled(pilot: Pilot, rows: int) -> None:
    """Wait until all *rows* are drawn and stay as they are: the first frames still share out the room."""
    before, same, end_s = "", 0, time.monotonic() + PATIENCE_S
    while same < 3:
        assert time.monotonic() < end_s, f"it never came to rest:\n{before}"
        await pilot.pause(0.06)
        now = shown(pilot.app)
        same = same + 1 if now == before and rows == rows_shown(pilot.app) else 0
        before = now
