"""The screen in the terminal, as its owner last set it, where no option says otherwise."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from dataclasses import fields, replace
from typing import TYPE_CHECKING

from sidecar.model.snapshot import Feed
from sidecar.settings.taste import Taste, remember, remembered, taste_file

if TYPE_CHECKING:
    from tui.controller import RunKind


def is_tab() -> bool:
    """Whether this process draws in a browser, for a person who need not be the owner of this machine."""
    return "WebDriver" in os.environ.get("TEXTUAL_DRIVER", "")


def check() -> None:
    """Raises SettingsError where no screen can be shown: no terminal, or keys that cannot be used."""
    import tui
    from tui.own_keys import own_keys

    tui.need_terminal()
    own_keys()


def show(feed: Feed, options: argparse.Namespace, kind: RunKind, is_over: Callable[[], bool]) -> float | None:
    """Shows *feed* until the person quits; returns the fader position, dB, to play it again from; None
    where that is not wanted.

    What keys have changed is remembered; an option holds for one run.
    """
    import tui

    given = {name: value for name in ("contrast", "ground") if (value := getattr(options, name)) is not None}
    before = replace(remembered(), **given)
    again_from_db, after = tui.run(feed, taste=before, kind=kind, most_hz=options.fps, is_over=is_over)
    if not is_tab():
        _remember_changes(before, after)
    return again_from_db


def _remember_changes(before: Taste, after: Taste) -> None:
    """Writes what differs over what the file holds now: another screen may have written meanwhile."""
    changes = {
        field.name: getattr(after, field.name)
        for field in fields(Taste)
        if getattr(after, field.name) != getattr(before, field.name)
    }
    if not changes:
        return
    try:
        remember(replace(remembered(), **changes))
    except OSError as error:
        print(f"sidecar: {taste_file()} was not written: {error.strerror}.", file=sys.stderr)
