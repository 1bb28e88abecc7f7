"""What a terminal shows already, so that only the cells that differ are sent to it.

Understood are the sequences that the toolkit draws with: the cursor's position and the rendition of text
(ECMA-48 §8.3.21, CUP, and §8.3.117, SGR). Whatever else is in a drawing is sent as it is. Long blanks are
erased (§8.3.38, ECH) where the terminal erases in the colour of the ground.
"""

from __future__ import annotations

import re
from functools import lru_cache
from itertools import repeat
from string import ascii_letters, digits

from rich.cells import cell_len

_TOKEN = re.compile(r"\x1b\[(\d+);(\d+)H|\x1b\[([\d;]*)m|([^\x1b\n]+)|\n(?=\x1b\[\d+;\d+H|$)")
_DRAWING = re.compile(r"\x1b\[\d+;\d+H")
_OTHER_PAGE = ("\x1b[?1049h", "\x1b[?1049l")

_LEAST_BLANKS = 12
"""From so many on, erasing them and moving on is shorter."""
_BLANKS = re.compile(f"( {{{_LEAST_BLANKS},}})")
_SHOWS_ON_BLANKS = frozenset("4579")
"""Underlined, blinking, reversed, crossed out (ECMA-48 §8.3.117)."""

_OF_WORDS = frozenset(ascii_letters + digits + ".:−-")


class SentCells:
    """The cells of one terminal. Positions count from 1, as on the wire."""

    def __init__(self, *, erases_in_colour: bool = False) -> None:
        """erases_in_colour: whether the terminal gives erased cells the ground that is set."""
        self._erases_in_colour = erases_in_colour
        self._rows: dict[int, tuple[list[str], list[str]]] = {}
        """Of each row the characters and the parameters of their renditions; an empty one is not known."""

    def forget(self) -> None:
        """Sends the next drawing whole, as after a change of size."""
        self._rows.clear()

    def reduced(self, data: str) -> str:
        """Returns what of *data* changes the terminal; the same where it is no drawing."""
        if not _DRAWING.match(data):
            if data in _OTHER_PAGE:
                self.forget()
            return data
        sent: list[str] = []
        at, end = 0, (1, 1)
        row, column, rendition = 1, 1, ""
        cursor, pen = (0, 0), ""
        while at < len(data):
            token = _TOKEN.match(data, at)
            if token is None:
                self.forget()
                return data
            at = token.end()
            if token[1]:
                row, column = int(token[1]), int(token[2])
                end = row, column
            elif token[3] is not None:
                rendition = "" if token[3] == "0" else token[3]
            elif token[4]:
                text = token[4]
                first, last = self._difference(row, column, text, rendition)
                if first < last:
                    if cursor != (row, column + first):
                        sent.append(f"\x1b[{row};{column + first}H")
                    piece, end_column = text[first:last], column + cell_len(text[:last])
                    if self._erases_in_colour and not _SHOWS_ON_BLANKS & set(_parts(rendition)[0]):
                        piece, blank = _erased(piece)
                        end_column -= blank
                    sent += [_turned(pen, rendition), piece]
                    cursor, pen = (row, end_column), rendition
                column += cell_len(text)
        if not sent:
            return ""
        return "".join((*sent, _turned(pen, ""), f"\x1b[{end[0]};{end[1]}H"))

    def _difference(self, row: int, column: int, text: str, rendition: str) -> tuple[int, int]:
        """Returns from where to where *text* differs from what is shown, and keeps it as shown."""
        width, end = cell_len(text), column + cell_len(text)
        chars, renditions = self._rows.setdefault(row, ([], []))
        if (missing := end + 1 - len(chars)) > 0:
            chars += [""] * missing
            renditions += [""] * missing
        if width != len(text):  # wide and combining characters are never kept
            chars[column - 1 : end + 1] = [""] * (width + 2)
            return 0, len(text)
        written = list(text)
        if chars[column:end] == written and renditions[column:end].count(rendition) == width:
            return 0, 0
        before = zip(chars[column:end], renditions[column:end], strict=True)
        now = zip(written, repeat(rendition), strict=False)
        changed = [x for x, (old, new) in enumerate(zip(before, now, strict=False)) if old != new]
        chars[column:end], renditions[column:end] = written, [rendition] * width
        return _whole_words(text, changed[0], changed[-1] + 1)


def _erased(text: str) -> tuple[str, int]:
    """Returns *text* with its long blanks erased, and how many of them lie behind the cursor at its end: it
    does not move when cells are erased."""
    sent, behind = [], 0
    for part in _BLANKS.split(text):
        if len(part) >= _LEAST_BLANKS and part.isspace():
            sent.append(f"\x1b[{len(part)}X")
            behind = len(part)
        elif part:
            sent.append(f"\x1b[{behind}C{part}" if behind else part)
            behind = 0
    return "".join(sent), behind


def _whole_words(text: str, first: int, last: int) -> tuple[int, int]:
    """Returns the range, widened to whole words and figures, so that a recorded stream can be read."""
    while first > 0 and text[first - 1] in _OF_WORDS and text[first] in _OF_WORDS:
        first -= 1
    while last < len(text) and text[last] in _OF_WORDS and text[last - 1] in _OF_WORDS:
        last += 1
    return first, last


@lru_cache(maxsize=4096)
def _turned(before: str, now: str) -> str:
    """Returns what turns one rendition into another, which sets colours and weight on a terminal's own."""
    if before == now:
        return ""
    if not now:
        return "\x1b[0m"
    weights, colours = _parts(before)
    new_weights, new_colours = _parts(now)
    if weights != new_weights or colours.keys() - new_colours.keys():
        return f"\x1b[0;{now}m"
    return "\x1b[" + ";".join(text for kind, text in new_colours.items() if colours.get(kind) != text) + "m"


def _parts(rendition: str) -> tuple[tuple[str, ...], dict[str, str]]:
    """Returns the weights and, under "3" and "4", the colours of text and ground (ECMA-48; ISO 8613-6)."""
    weights, colours = [], {}
    numbers = iter(rendition.split(";"))
    for number in numbers:
        if number in ("38", "48"):
            mode = next(numbers, "")
            rest = [next(numbers, "") for _ in range(3 if mode == "2" else 1)]
            colours[number[0]] = ";".join((number, mode, *rest))
        elif number[:1] in ("3", "9") and len(number) == 2:
            colours["3"] = number
        elif number[:1] in ("4", "1") and len(number) in (2, 3) and number != "1":
            colours["4"] = number
        elif number:
            weights.append(number)
    return tuple(weights), colours
