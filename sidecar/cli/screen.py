"""``sidecar screen``: the screen alone, on a run that plays elsewhere."""

from __future__ import annotations

import argparse

from sidecar.attach.feed import RemoteFeed

_FIRST_WORD_S = 1.0
"""A run that is there has told all of itself by then; one that is not is waited for on the screen."""


def run(options: argparse.Namespace) -> int:
    """Shows it until the person leaves, which ends nothing."""
    import tui

    with RemoteFeed(options.attach) as feed:
        feed.wait(_FIRST_WORD_S)
        tui.run(feed)
    return 0
