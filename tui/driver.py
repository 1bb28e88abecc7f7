"""What lies between the screen and its terminal: changed cells alone go out, and answers are kept from the
keys."""

from __future__ import annotations

import sys
from collections.abc import Iterable

from textual._xterm_parser import XTermParser
from textual.driver import Driver
from textual.message import Message

from sidecar.settings.taste import Shade
from tui.ground import Answers, shade_of
from tui.palette import ascii_text
from tui.sent_cells import SentCells


class GroundIs(Message):
    """The terminal's own ground, as it says."""

    def __init__(self, shade: Shade) -> None:
        super().__init__()
        self.shade = shade


class AnsweringParser(XTermParser):
    """Reads keys, but an answer of the terminal becomes a message; the toolkit's own would type it."""

    def __init__(self, debug: bool = False) -> None:
        super().__init__(debug)
        self._answers = Answers()

    def feed(self, data: str) -> Iterable[Message]:
        """See :class:`XTermParser`."""
        if not data:  # the end of all input
            yield from super().feed(data)
            return
        typed, answers = self._answers.divide(data)
        yield from (GroundIs(shade) for answer in answers if (shade := shade_of(answer)) is not None)
        if typed:
            yield from super().feed(typed)

    def tick(self) -> Iterable[Message]:
        """See :class:`XTermParser`; called some ten times a second."""
        if key := self._answers.waited():
            yield from super().feed(key)
        yield from super().tick()


def erases_in_colour() -> bool:
    """Whether the terminal gives erased cells the ground that is set, as its terminfo says ("bce")."""
    try:
        import curses

        curses.setupterm(fd=sys.__stdout__.fileno() if sys.__stdout__ else 1)
        return curses.tigetflag("bce") > 0 and curses.tigetstr("ech") is not None
    except Exception:  # no such module, terminal or description
        return False


def sparing(usual: type[Driver], cells: SentCells, *, ascii_only: bool) -> type[Driver]:
    """Returns the terminal's driver, but it sends changed cells only, in ASCII where that alone is shown."""
    if sys.platform == "win32":  # there a drawing is written in pieces, and no parser reads the keys
        return usual
    from textual.drivers import linux_driver

    linux_driver.XTermParser = AnsweringParser  # type: ignore[attr-defined]  # the driver makes its parser by this name

    class SparingDriver(usual):  # type: ignore[valid-type, misc]
        def write(self, data: str) -> None:
            if reduced := cells.reduced(ascii_text(data) if ascii_only else data):
                super().write(reduced)

    return SparingDriver
