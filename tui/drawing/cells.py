"""Rows of toned text, and a row of cells to write them into."""

from __future__ import annotations

from itertools import pairwise

from rich.cells import cell_len, set_cell_size

Tone = str
"""An ink of the palette, or ``ink on ground``: what text means, not what colour it has."""

Run = tuple[str, Tone]
Row = tuple[Run, ...]


class Cells:
    """One row of cells. Whatever is written outside it is dropped; names from outside may hold characters
    that take two cells, or none."""

    def __init__(self, width: int, char: str = " ", tone: Tone = "plain") -> None:
        self.width = max(0, width)
        self._chars = [char] * self.width
        self._tones = [tone] * self.width

    def __getitem__(self, x: int) -> Run:
        return self._chars[x], self._tones[x]

    def put(self, x: int, text: str, tone: Tone = "plain") -> None:
        """Write *text* from cell *x* on."""
        chars = _by_cell(text)
        start, end = max(0, x), min(self.width, x + len(chars))
        if start < end:
            self._chars[start:end] = chars[start - x : end - x]
            self._tones[start:end] = [tone] * (end - start)

    def paint(self, x: int, char: str, tone: Tone) -> None:
        """Write *char*, which takes one cell, into cell *x*: for what is drawn, cell by cell."""
        if 0 <= x < self.width:
            self._chars[x], self._tones[x] = char, tone

    def put_cells(self, x: int, cells: Cells) -> None:
        """Write all of *cells* from cell *x* on, which must be in this row."""
        end = min(self.width, x + cells.width)
        self._chars[x:end] = cells._chars[: end - x]
        self._tones[x:end] = cells._tones[: end - x]

    def put_row(self, x: int, row: Row) -> None:
        """Write the runs of *row* from cell *x* on."""
        for text, tone in row:
            self.put(x, text, tone)
            x += cell_len(text)

    def row(self) -> Row:
        """The cells as runs: neighbours of one tone joined."""
        tones, chars = self._tones, self._chars
        ends = [x for x, (tone, after) in enumerate(pairwise(tones), 1) if tone != after]
        starts = [0, *ends]
        return tuple(
            ("".join(chars[start:end]), tones[start])
            for start, end in zip(starts, [*ends, self.width], strict=True)
            if end > start
        )


def text_of(row: Row) -> str:
    """The row's text without its tones."""
    return "".join(text for text, _ in row)


def width_of(row: Row) -> int:
    """How many cells the row takes."""
    return sum(cell_len(text) for text, _ in row)


def _by_cell(text: str) -> str | list[str]:
    """The text of each cell: nothing in the second of a wide character; what takes no cell joins the one
    before."""
    if cell_len(text) == len(text):
        return text
    cells: list[str] = []
    for char in text:
        width = cell_len(char)
        if width:
            cells += [char, *[""] * (width - 1)]
        elif cells:
            cells[-1] += char
    return cells


def fit(row: Row, width: int) -> Row:
    """*row* cut or filled with blanks to exactly *width* cells."""
    cells = Cells(width)
    cells.put_row(0, row)
    return cells.row()


def shortened(text: str, width: int) -> str:
    """*text* in at most *width* cells, with an ellipsis where something was cut."""
    if cell_len(text) <= width:
        return text
    return set_cell_size(text, width - 1).rstrip() + "…" if width > 0 else ""


def spread(left: Row, right: Row, width: int) -> Row:
    """*left* at the left edge and *right* at the right edge; *right* gives way when both do not fit."""
    start = width - width_of(right)
    if start < width_of(left) + 1:
        return fit(left, width)
    cells = Cells(width)
    cells.put_row(0, left)
    cells.put_row(start, right)
    return cells.row()
