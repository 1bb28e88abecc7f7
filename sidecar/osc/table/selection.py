"""Selections of the outgoing addresses that a receiver is sent."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import get_args

from sidecar.osc.patterns import Pattern
from sidecar.osc.table.addresses import ROOT, SENT, Group, Outgoing
from sidecar.osc.table.screen_addresses import DETAILS, Detail

GROUPS: tuple[Group, ...] = get_args(Group)

_MOST_CHARACTERS = 512
"""Of all words together. Ours: some twenty addresses, one by one; it bounds the work of matching."""


@dataclass(frozen=True, slots=True, eq=False)
class Selection:
    """Rows of the table, in its order. Compared by identity."""

    rows: tuple[Outgoing | Detail, ...]

    @property
    def has_details(self) -> bool:
        """True for the selection of a screen, which alone needs the details."""
        return any(isinstance(row, Detail) for row in self.rows)

    def of_groups(self, groups: tuple[Group, ...]) -> tuple[Outgoing | Detail, ...]:
        """The rows that belong to these groups."""
        return tuple(row for row in self.rows if row.group in groups)


def select(words: tuple[str, ...], root: str = ROOT) -> Selection:
    """Returns the rows that *words* name, each a group, an address or a pattern; without words all rows but
    the details.

    root: what addresses begin with.
    The same words return the same object, so that receivers with equal selections share each datagram.
    Raises ValueError, with the reason, for a word that names nothing.
    """
    length = sum(map(len, words)) + len(words)
    if length > _MOST_CHARACTERS:
        raise ValueError(f"a selection takes at most {_MOST_CHARACTERS} characters, not {length}")
    return _selected(frozenset(words), root)


@lru_cache(maxsize=256)
def _selected(words: frozenset[str], root: str) -> Selection:
    tests = [_test(word, root) for word in sorted(words - {"detail"})]
    rows = tuple(row for row in SENT if not words or any(test(row) for test in tests))
    return Selection(rows + DETAILS * ("detail" in words))


def _test(word: str, root: str) -> Callable[[Outgoing], bool]:
    """Returns the test for the rows that *word* names. Raises ValueError where it names none."""
    if word in GROUPS:
        return lambda row: row.group == word
    if word.startswith("/"):
        pattern = Pattern(word)
        named = {row for row in SENT if pattern.matches(root + row.path)}
        if named:
            return named.__contains__
    raise ValueError(f"'{word[:80]}' is no address that is sent, and none of the groups {', '.join(GROUPS)}")


EVERYTHING = select(())
