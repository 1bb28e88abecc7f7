"""The way that a fader was sent, and which of its reports lie on it."""

from __future__ import annotations

from collections import deque


class SentPath:
    """Positions in the order in which they were sent, from where the fader was last known to be.

    An obedient fader reports places on this way in their order, however late, however slowly and however
    few of them. One that is anywhere else, or goes back, is moved by something else too.
    """

    def __init__(self, position_db: float, rounding_db: float) -> None:
        """rounding_db: how far a report may lie beside the way; surfaces round."""
        self._points = deque([position_db])
        self._rounding_db = rounding_db

    @property
    def known_db(self) -> float:
        """Where on the way the fader is known to be."""
        return self._points[0]

    @property
    def end_db(self) -> float:
        """Where it was sent last."""
        return self._points[-1]

    def append(self, position_db: float) -> None:
        """The fader was sent there."""
        self._points.append(position_db)

    def follow(self, position_db: float) -> bool:
        """Whether a report lies on the way, where the fader was known to be or ahead of it."""
        if self._is_near(position_db, self._points[0], self._points[0]):
            return True
        for passed in range(len(self._points) - 1):
            start_db, end_db = self._points[passed], self._points[passed + 1]
            if self._is_near(position_db, start_db, end_db):
                for _ in range(passed):
                    self._points.popleft()
                low_db, high_db = sorted((start_db, end_db))
                self._points[0] = min(max(position_db, low_db), high_db)
                if self._points[0] == end_db:
                    self._points.popleft()
                return True
        return False

    def _is_near(self, position_db: float, start_db: float, end_db: float) -> bool:
        low_db, high_db = sorted((start_db, end_db))
        return low_db - self._rounding_db <= position_db <= high_db + self._rounding_db
