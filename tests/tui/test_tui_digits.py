"""Large figures."""

import pytest

from tui.drawing import digits


def test_a_large_figure_is_seven_lines_of_blocks():
    """Exact shape, so that a change of the font is seen in review."""
    expected = [
        "    ██          ████  ",
        "  ████        ██    ██",
        "    ██        ██    ██",
        "    ██          ████  ",
        "    ██        ██    ██",
        "    ██        ██    ██",
        "  ██████  ██    ████  ",
    ]

    assert digits.large("1.8") == expected


def test_a_small_word_is_four_lines_of_half_blocks():
    """The same dots at half the size."""
    assert digits.small("N") == ["█▄  █", "█▀▄ █", "█  ██", "▀   ▀"]


def test_twice_the_scale_is_twice_the_size():
    """For a screen on the wall."""
    once, twice = digits.large("↓"), digits.large("↓", 2)

    assert (2 * len(once), 2 * len(once[0])) == (len(twice), len(twice[0]))


@pytest.mark.parametrize(
    "text", ["0123456789.", "−+", "ON GOAL", "LISTENING", "PREPARING", "WAITING", "ENDED", "↑↓◇"]
)
def test_every_sign_that_is_set_large_has_a_shape(text):
    """A missing shape would vanish without a word."""
    narrower = [digits.large(text.replace(char, "", 1)) for char in text]

    assert all(len(lines[0]) < len(digits.large(text)[0]) for lines in narrower)


def test_the_lines_of_a_figure_are_equally_long():
    """Ragged lines would slant the figure."""
    assert len({len(line) for line in digits.large(f"↓{digits.NARROW}12.4")}) == 1
    assert len({len(line) for line in digits.small("LISTENING")}) == 1


def test_all_figures_are_equally_wide():
    """A figure that changes does not move the one beside it."""
    widths = {len(digits.large(figure)[0]) for figure in ("0", "1", "7", "8", digits.FIGURE_SPACE)}

    assert widths == {8}
