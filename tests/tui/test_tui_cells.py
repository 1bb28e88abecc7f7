"""Rows of toned text."""

import pytest
from rich.cells import cell_len

from tui.drawing.cells import Cells, fit, shortened, spread, text_of, width_of
from tui.palette import Palette, ascii_text


def test_neighbours_of_one_tone_become_one_run():
    """Few runs make few segments to paint."""
    cells = Cells(6, "-", "faint")
    cells.put(2, "ab", "strong")

    assert cells.row() == (("--", "faint"), ("ab", "strong"), ("--", "faint"))


def test_what_lies_outside_is_dropped():
    """A drawing may run over either edge without harm."""
    cells = Cells(4)
    cells.put(-2, "abc")
    cells.put(3, "xyz")
    cells.put(9, "gone")

    assert text_of(cells.row()) == "c  x"


def test_a_row_is_cut_or_filled_to_the_width():
    """Every row has exactly the cells of its panel."""
    assert text_of(fit((("abc", "plain"),), 5)) == "abc  "
    assert text_of(fit((("abc", "plain"),), 2)) == "ab"
    assert text_of(fit((("abc", "plain"),), 0)) == ""


def test_shortened_text_says_that_it_was_shortened():
    """A cut ends in an ellipsis, never in half a word that looks whole."""
    assert shortened("no route", 8) == "no route"
    assert shortened("no route", 7) == "no rou…"
    assert shortened("no route", 0) == ""


def test_the_right_edge_gives_way():
    """What is on the left is needed more."""
    left, right = (("left", "plain"),), (("right", "plain"),)

    assert text_of(spread(left, right, 11)) == "left  right"
    assert text_of(spread(left, right, 8)) == "left    "


@pytest.mark.parametrize("name", ["ステレオ", "スo", "Ste\u0301re\u0301o", "声"])
def test_characters_that_take_two_cells_or_none_shift_nothing_behind_them(name):
    """Unicode Standard Annex 11: what follows such a name is where it is beside any other."""
    cells = Cells(16)
    cells.put(1, name)
    cells.put(12, "−6.2")
    row = cells.row()

    assert 16 == width_of(row) == Palette().strip(row, 16).cell_length
    assert text_of(row).endswith("−6.2")
    assert cell_len(name) == len(ascii_text(name)) or "\u0301" in name
    assert width_of(fit(((name, "plain"),), 9)) == 9


def test_a_wide_name_is_shortened_by_the_cells_that_it_takes():
    """Seven cells hold three characters of two and the ellipsis."""
    assert shortened("ステレオ", 8) == "ステレオ"
    assert shortened("ステレオ", 7) == "ステレ…"
    assert shortened("ステレオ", 6) == "ステ…"
