"""Tones on terminals of all depths."""

import itertools

import pytest
from rich.color import Color, ColorSystem

from tui.palette import COLOURS, GREYS, SIXTEEN, Palette, ascii_text

STANDS = ("under", "inside", "over", "ceiling")


def _number(ink, depth, inks=COLOURS):
    return Color.parse(inks[ink].split()[-1]).downgrade(depth).number


@pytest.mark.parametrize("depth", [ColorSystem.STANDARD, ColorSystem.EIGHT_BIT])
def test_the_four_stands_stay_apart_at_every_depth(depth):
    """Stepping down to 256 or 16 colours (as Rich does it) merges none of them with the background."""
    numbers = [_number(ink, depth) for ink in (*STANDS, "paper")]

    assert len(numbers) == len(set(numbers))


def test_in_16_colours_each_stand_keeps_its_family():
    """ANSI numbers: 12 bright blue, 15 white, 11 bright yellow, 13 bright magenta; never red."""
    assert [12, 15, 11, 13] == [_number(ink, ColorSystem.STANDARD) for ink in STANDS]


def test_in_16_colours_the_course_differs_from_the_goals_band():
    """16 colours hold one dark grey; the course must not drown in the band."""
    assert _number("band", ColorSystem.STANDARD, SIXTEEN) != _number("fill", ColorSystem.STANDARD, SIXTEEN)


def test_in_256_colours_the_courses_inks_stay_apart():
    """Fill, softer fill, band and ground are four things to see."""
    numbers = [_number(ink, ColorSystem.EIGHT_BIT) for ink in ("fill", "soft", "band", "paper")]

    assert len(numbers) == len(set(numbers))


def _luminance(ink, inks):
    channels = [channel / 255.0 for channel in Color.parse(inks[ink].split()[-1]).get_truecolor()]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("inks", [COLOURS, GREYS])
@pytest.mark.parametrize("ink", ["plain", "strong", "dim", "faint", *STANDS])
def test_text_is_readable_on_its_ground(ink, inks):
    """WCAG 2.x SC 1.4.3 asks for a contrast of 4.5:1 (formula of relative luminance: same document)."""
    contrast = (_luminance(ink, inks) + 0.05) / (_luminance("paper", inks) + 0.05)

    assert contrast >= 4.5


def test_without_colour_the_alarm_is_the_brightest():
    """In grey an alarm colour must not turn into the darkest tone on the screen."""
    others = [_luminance(ink, GREYS) for ink in ("under", "dim", "faint")]

    assert min(_luminance("over", GREYS), _luminance("ceiling", GREYS)) > max(others)
    assert Palette(GREYS).style("over").bold


def test_nothing_blinks():
    """No tone uses the terminal's blinking, whose rate nobody controls (WCAG 2.3.1)."""
    tones = [f"{ink} on {ground} bold" for ink, ground in itertools.product(COLOURS, ("paper", "over"))]

    assert not any(Palette(inks).style(tone).blink for inks in (COLOURS, GREYS) for tone in tones)


def test_a_style_is_made_once():
    """Painting looks styles up and never parses them again."""
    palette = Palette()

    assert palette.style("over on held") is palette.style("over on held")


def test_ascii_keeps_every_cell():
    """One character for one: the layout is the same, the shapes are told apart."""
    drawn = "◁◇▷△ ───░░┼███▷ ▁▂▃▄▅▆▇█ −23.0 … ↕◆╳‖ ●○■ ▒╌╂┊▔▀▴▸→"

    assert len(drawn) == len(ascii_text(drawn))
    assert ascii_text(drawn).isascii()
    assert "?" not in ascii_text(drawn)
    assert 4 == len(set(ascii_text("◁◇▷△")))


def test_control_characters_never_reach_the_terminal():
    """A device's name or a label cannot steer the terminal."""
    assert "a b [31mc d" == Palette().text("a\tb\x1b[31mc\x9bd")
