"""The stem moves as shown: they change when the advice on the whole mix does, at its looks."""

from __future__ import annotations

from collections.abc import Callable

from sidecar.advice.stems.advisor import StemAdvisor
from sidecar.model.advice import Advice, State
from sidecar.model.readings import Move

_SMALLEST_CHANGE_DB = 0.5
"""Moves of the same stems that differ by less are the same advice."""

_Look = tuple[State, float, float | None]


class SteadyStems:
    """Shares the advice on the whole mix out among its stems, so that both have one scope and one landing.

    Pure: looks are those of the advice that is passed in.
    """

    def __init__(self, advisor: StemAdvisor) -> None:
        self._advisor = advisor
        self.reset()

    def reset(self) -> None:
        """Forgets the moves and the chosen stems, for a new pass."""
        self.moves: dict[str, Move] = {}
        """By name, as :meth:`StemAdvisor.moves` returns them."""
        self._look: _Look | None = None
        self._latest: tuple[str, ...] = ()

    def update(
        self, advice: Advice, *, at_once: bool = False, land: Callable[[float], Move] | None = None
    ) -> None:
        """Renews the moves where *advice* has changed or has looked again.

        at_once: also where it has not, because a stem fader was moved or the goal has changed.
        land: the forecast of any move of the master fader, where there is one.
        """
        look = (advice.state, advice.move.gain_db, advice.next_look_at_s)
        before, self._look = self._look, look
        if look == before and not at_once:
            return
        moves = self._moves(advice, land)
        is_same = before is not None and look[:2] == before[:2] and not at_once
        if is_same and _differ_little(self.moves, moves):
            return
        self.moves = moves
        self._latest = tuple(name for name, move in moves.items() if move.gain_db) or self._latest

    def _moves(self, advice: Advice, land: Callable[[float], Move] | None) -> dict[str, Move]:
        if advice.state == "listening":
            return {}
        if advice.state == "ended":
            return self._advisor.moves(advice.from_top, self._latest)
        return self._advisor.moves(advice.move, self._latest, land)


def _differ_little(shown: dict[str, Move], new: dict[str, Move]) -> bool:
    return shown.keys() == new.keys() and all(_is_alike(shown[name], move) for name, move in new.items())


def _is_alike(shown: Move, new: Move) -> bool:
    """Whether these ask for the same, or ask for nothing for the same reason."""
    if not shown.gain_db and not new.gain_db:
        return shown.reason == new.reason
    return abs(shown.gain_db - new.gain_db) < _SMALLEST_CHANGE_DB
