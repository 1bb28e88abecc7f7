"""The screen of Loudness Sidecar. It draws what a feed yields and measures nothing itself."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from sidecar.errors import SettingsError
from sidecar.settings.taste import AT_FIRST
from tui.pace import USUAL_HZ

if TYPE_CHECKING:
    from sidecar.model.snapshot import Feed
    from sidecar.settings.taste import Taste
    from tui.controller import RunKind


def need_terminal() -> None:
    """Raises SettingsError where there is no terminal to type at: a screen that reads an empty file, or one
    that is at its end, reads on without a rest, and no key would ever end it."""
    has_own_driver = "TEXTUAL_DRIVER" in os.environ  # a tab of a browser
    if not has_own_driver and (sys.__stdin__ is None or not sys.__stdin__.isatty()):
        raise SettingsError(
            "The screen needs a terminal. Run it in one, or give live and rehearse --no-screen."
        )


def run(
    feed: Feed,
    *,
    taste: Taste = AT_FIRST,
    kind: RunKind = "live",
    most_hz: int = USUAL_HZ,
    is_over: Callable[[], bool] = lambda: False,
) -> tuple[float | None, Taste]:
    """Shows *feed* until the person quits; returns the fader position, dB, that the rehearsal is to be played
    again from, None where it is not, and how the screen was set at the end. The caller owns the feed and
    closes it afterwards.

    taste: how it is set at first. kind: what the screen shows; it decides which keys are offered and what is
    asked first. most_hz: drawings a second at most; a slow line fewer. is_over: asked at each look; once
    true, the screen goes.
    Raises SettingsError where there is no terminal, or the owner's keys cannot be used.
    """
    from tui.app import make_app
    from tui.own_keys import own_keys

    need_terminal()
    keys = own_keys()
    app = make_app(feed, taste=taste, kind=kind, most_hz=most_hz, keys=keys)
    app.is_over = is_over
    return app.run(), app.controller.taste
