"""The screen of Loudness Sidecar. It draws what a feed yields and measures nothing itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sidecar.feed import Feed


def run(feed: Feed) -> None:
    """Show *feed* until the person quits. The caller owns the feed and closes it afterwards."""
    from tui.app import make_app

    make_app(feed).run()
