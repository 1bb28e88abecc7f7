"""Only changed cells are sent: a terminal of another make shows the same, after less."""

from itertools import pairwise

import pyte
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tui.sent_cells import SentCells

WIDTH, HEIGHT = 12, 4
RENDITIONS = (
    *("38;2;230;233;236;48;2;16;20;24", "1;38;2;230;233;236;48;2;16;20;24", "38;2;1;2;3;48;2;16;20;24"),
    *("93;40", "37;105", "1;93", "38;5;200;48;5;17", "7", "", "100", "4;31"),
)

pieces = st.tuples(
    st.integers(1, HEIGHT),
    st.integers(1, WIDTH - 4),
    st.sampled_from(RENDITIONS),
    st.sampled_from(["ab", "abc", "a", "▇▆ ", "  ", "漢", "a漢", "e\u0301", "−23"]),
)
drawings = st.lists(st.lists(pieces, min_size=1, max_size=6), min_size=1, max_size=6)


def drawing(parts):
    """As the toolkit writes it: downwards, each piece at its place, its rendition ended."""
    parts = sorted(parts, key=lambda part: part[0])
    written = [
        f"\x1b[{row};{column}H" + (f"\x1b[{rendition}m{text}\x1b[0m" if rendition else text)
        for row, column, rendition, text in parts
    ]
    ends = ["\n" if later[0] > row[0] else "" for row, later in pairwise(parts)]
    return "".join(text + end for text, end in zip(written, [*ends, ""], strict=True)) + "\x1b[1;1H"


def shown(sequences):
    screen = pyte.Screen(WIDTH, HEIGHT)
    stream = pyte.Stream(screen)
    for sequence in sequences:
        stream.feed(sequence)
    cells = [[screen.buffer[y][x] for x in range(WIDTH)] for y in range(HEIGHT)]
    return cells, (screen.cursor.x, screen.cursor.y)


@settings(deadline=None, max_examples=300)
@given(drawings)
def test_the_terminal_shows_the_same(parts):
    """Compared with the terminal of pyte, cell for cell with its colours."""
    cells, whole = SentCells(), [drawing(one) for one in parts]

    assert shown(cells.reduced(one) for one in whole)[0] == shown(whole)[0]


def test_what_is_shown_already_is_not_sent_again():
    cells, whole = SentCells(), drawing([(1, 1, RENDITIONS[0], "−23.0")])
    first = cells.reduced(whole)

    assert "−23.0" in first
    assert cells.reduced(whole) == ""


def test_of_a_changed_text_the_whole_figure_is_sent():
    cells = SentCells()
    cells.reduced(drawing([(2, 3, "93;40", "at −23.0")]))
    sent = cells.reduced(drawing([(2, 3, "93;40", "at −23.4")]))

    assert sent == "\x1b[2;6H\x1b[93;40m−23.4\x1b[0m\x1b[1;1H"


def test_of_two_colours_the_changed_one_is_sent():
    sent = SentCells().reduced("\x1b[1;1H\x1b[38;2;1;2;3;48;5;4ma\x1b[0m\x1b[38;2;9;9;9;48;5;4mb\x1b[0m")

    assert sent == "\x1b[1;1H\x1b[38;2;1;2;3;48;5;4ma\x1b[38;2;9;9;9mb\x1b[0m\x1b[1;1H"


def test_after_a_change_of_size_all_is_sent():
    cells, whole = SentCells(), drawing([(1, 1, "93", "a")])
    cells.reduced(whole)
    cells.forget()

    assert "a" in cells.reduced(whole)


def test_what_is_no_drawing_is_sent_as_it_is():
    cells, whole = SentCells(), drawing([(1, 1, "93", "a")])
    cells.reduced(whole)
    questions = ["\x1b[6n", "\x1b[?2026h", "\x1b]52;c;YQ==\a"]

    assert [cells.reduced(one) for one in questions] == questions
    assert cells.reduced(whole) == ""
    assert cells.reduced("\x1b[?1049h") == "\x1b[?1049h"
    assert "a" in cells.reduced(whole)


def test_a_drawing_with_another_sequence_is_sent_whole():
    strange = "\x1b[1;1H\x1b]8;;link\x1b\\a\x1b]8;;\x1b\\"

    assert SentCells().reduced(strange) == strange


BLANK = " " * 40


def _shown_by(data, size=(60, 3)):
    """What is in each cell, and on which ground, once a terminal has *data*."""
    screen = pyte.Screen(*size)
    pyte.Stream(screen).feed(data)
    return [
        [(screen.buffer[y][x].data, screen.buffer[y][x].bg) for x in range(size[0])] for y in range(size[1])
    ]


@pytest.mark.parametrize(
    "drawing",
    [
        f"\x1b[1;1H\x1b[48;2;16;20;24mab{BLANK}cd\x1b[0m",
        f"\x1b[1;1H\x1b[48;2;16;20;24m{BLANK}\x1b[48;2;99;20;24mx{BLANK[:19]}\x1b[0m",
        f"\x1b[2;3H\x1b[48;2;16;20;24mab{BLANK}\x1b[0m\x1b[3;1H\x1b[38;2;1;2;3;48;2;9;9;9m{BLANK}e{BLANK[:12]}\x1b[0m",
        f"\x1b[1;1H\x1b[4;48;2;16;20;24m{BLANK}\x1b[0m",
    ],
)
def test_erased_blanks_look_as_if_they_had_been_sent(drawing):
    sent = SentCells(erases_in_colour=True).reduced(drawing)

    assert _shown_by(sent) == _shown_by(drawing)
    assert len(sent) < len(drawing) or "[4;" in drawing


def test_a_terminal_that_does_not_erase_in_colour_is_sent_blanks():
    assert BLANK in SentCells().reduced(f"\x1b[1;1H\x1b[48;2;16;20;24m{BLANK}\x1b[0m")
