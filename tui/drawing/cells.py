"""Rows of toned text, and a row of cells to write them into."""

from __future__ import annotations

from itertools import groupby

Tone = str
"""An ink of the palette, or ``ink on ground``: what text means, not what colour it has."""

Run = tuple[str, Tone]
Row = tuple[Run, ...]


class Cells:
    """One row of single-width cells. Whatever is written outside it is dropped."""

    def __init__(self, width: int, char: str = " ", tone: Tone = "plain") -> None:
        self.width = max(0, width)
        self._chars = [char] * self.width
        self._tones = [tone] * self.width

    def __getitem__(self, x: int) -> Run:
        return self._chars[x], self._tones[x]

    def put(self, x: int, text: str, tone: Tone = "plain") -> None:
        """Write *text* from cell *x* on."""
        if len(text) == 1:  # most of a drawing is single cells
            if 0 <= x < self.width:
                self._chars[x], self._tones[x] = text, tone
            return
        start, end = max(0, x), min(self.width, x + len(text))
        if start < end:
            self._chars[start:end] = text[start - x : end - x]
            self._tones[start:end] = [tone] * (end - start)

    def put_row(self, x: int, row: Row) -> None:
        """Write the runs of *row* from cell *x* on."""
        for text, tone in row:
            self.put(x, text, tone)
            x += len(text)

    def row(self) -> Row:
        """The cells as runs: neighbours of one tone joined."""
        text, runs, start = "".join(self._chars), [], 0
        for tone, group in groupby(self._tones):
            end = start + len(list(group))
            runs.append((text[start:end], tone))
            start = end
        return tuple(runs)


def text_of(row: Row) -> str:
    """The row's text without its tones."""
    return "".join(text for text, _ in row)


def fit(row: Row, width: int) -> Row:
    """*row* cut or filled with blanks to exactly *width* cells."""
    cells = Cells(width)
    cells.put_row(0, row)
    return cells.row()


def shortened(text: str, width: int) -> str:
    """*text* in at most *width* cells, with an ellipsis where something was cut."""
    if len(text) <= width:
        return text
    return text[: max(0, width - 1)].rstrip() + "…" if width > 0 else ""


def spread(left: Row, right: Row, width: int) -> Row:
    """*left* at the left edge and *right* at the right edge; *right* gives way when both do not fit."""
    start = width - len(text_of(right))
    if start < len(text_of(left)) + 1:
        return fit(left, width)
    cells = Cells(width)
    cells.put_row(0, left)
    cells.put_row(start, right)
    return cells.row()
