"""Which stems a surface with a few strips shows, page by page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

MOST_STEMS = 999
"""Ours: a number of three digits at most."""


@dataclass(slots=True)
class Paging:
    """The page that a surface shows. Shared by the receiver of its messages and the sender of its feedback,
    both on the engine's loop."""

    strips: int
    """Stems that are shown at a time."""
    address: str
    """The address at which the surface reports its page, from 1."""
    page: int = 1

    def turn_page(self, address: str, arguments: list[Any]) -> bool:
        """Changes the page where a message reports it; returns whether the message was about pages.

        0 is the release of a button. Raises ValueError, with the reason, for anything but one page.
        """
        if address != self.address:
            return False
        value = arguments[0] if len(arguments) == 1 else None
        last = -(-MOST_STEMS // self.strips)
        is_page = isinstance(value, int | float) and not isinstance(value, bool) and value in range(last + 1)
        if not is_page:
            raise ValueError(f"{address} needs a page number, 1 to {last}, not {arguments!r}")
        self.page = int(value or self.page)
        return True

    def stem(self, strip: int) -> int | None:
        """Returns the stem, from 1, on the strip of that number; None where there is no such strip."""
        return self._first + strip if 1 <= strip <= self.strips else None

    def shown(self, values: tuple[Any, ...], blank: Any) -> tuple[Any, ...]:
        """Returns, of one value a stem, those on the strips; *blank* where a strip has no stem."""
        shown = values[self._first : self._first + self.strips]
        return shown + (blank,) * (self.strips - len(shown))

    @property
    def _first(self) -> int:
        return (self.page - 1) * self.strips
