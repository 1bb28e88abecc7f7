"""Dropped packets and messages, counted by reason."""

from __future__ import annotations

import logging
from collections import Counter

from sidecar.model.foreign_text import printable
from sidecar.osc.table.exchange import DropReason

_LINES = 5
_LINE_EVERY_S = 1.0
_LONGEST_QUOTE = 200

_log = logging.getLogger(__name__)


class DropCounters:
    """Counts each drop; logs the first few and then one a second, so that a flood does not fill the disk."""

    def __init__(self) -> None:
        self.counts: Counter[DropReason] = Counter()
        self._lines = float(_LINES)
        self._now_s = 0.0

    def count(self, reason: DropReason, host: str, words: str, now_s: float) -> None:
        """Counts one drop from *host*; *words* are the reason for the log."""
        self.counts[reason] += 1
        self._lines = min(_LINES, self._lines + max(0.0, now_s - self._now_s) / _LINE_EVERY_S)
        self._now_s = now_s
        if self._lines >= 1.0:
            self._lines -= 1.0
            _log.warning("OSC from %s refused: %s", host, quoted(words))


def quoted(text: str) -> str:
    """Returns foreign text as one line, short enough for an answer or the log."""
    return printable(text, _LONGEST_QUOTE)
