"""The screen of Loudness Sidecar. It draws what a feed yields and measures nothing itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sidecar.feed import Feed
    from tui.inks import Contrast


def run(
    feed: Feed,
    *,
    contrast: Contrast = "usual",
    is_past: bool = False,
    is_over: Callable[[], bool] = lambda: False,
) -> None:
    """Show *feed* until the person quits. The caller owns the feed and closes it afterwards.

    contrast: "high" sets text off from its ground by 7:1 at least. is_past: the pass is over, so that
    no key is offered which would change it. is_over: asked at each look; once true, the screen goes.
    """
    from tui.app import make_app

    app = make_app(feed, contrast=contrast, is_past=is_past)
    app.is_over = is_over
    app.run()
