"""The place in the programme that a person looks back at; none while the history follows now."""

from __future__ import annotations

from collections.abc import Sequence

_HAIR_S = 0.05
"""Half a column of the history: a place this near to the cursor is the one it is on."""


class Cursor:
    """Stands at a moment of the programme, between its beginning and now."""

    def __init__(self) -> None:
        self.at_s: float | None = None
        """Seconds of programme; None while it is not shown."""
        self._now_s = 0.0

    def programme_reached(self, now_s: float) -> None:
        """The programme has come as far as *now_s*; where it began anew the cursor is gone."""
        if now_s < self._now_s - _HAIR_S:
            self.at_s = None
        self._now_s = now_s

    def move(self, change_s: float) -> None:
        """Earlier or later by so much; the first move only shows it, at now."""
        self.place(self._now_s if self.at_s is None else self.at_s + change_s)

    def place(self, at_s: float) -> None:
        """At a moment, or as near to it as the programme reaches."""
        self.at_s = max(0.0, min(self._now_s, at_s))

    def dismiss(self) -> None:
        """Back to following now."""
        self.at_s = None

    def jump(self, places_s: Sequence[float], direction: int) -> None:
        """To the next of *places_s* (direction 1), or the one before (-1).

        Behind the last one lies now, which is followed again; before the first one it stays.
        """
        here_s = self._now_s + 2.0 * _HAIR_S if self.at_s is None else self.at_s
        if direction > 0:
            later = [at_s for at_s in places_s if at_s > here_s + _HAIR_S]
            self.at_s = min(later, default=None)
            return
        earlier = [at_s for at_s in places_s if at_s < here_s - _HAIR_S]
        if earlier:
            self.place(max(earlier))
