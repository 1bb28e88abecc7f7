"""Tones on terminals of all depths, for eyes of all kinds."""

import itertools

import numpy as np
import pytest
from rich.color import Color, ColorSystem

from tui import theme as tables
from tui.palette import Palette, ascii_text
from tui.theme import (
    COLOURS,
    GREYS,
    HIGH_COLOURS,
    HIGH_GREYS,
    HIGH_SIXTEEN,
    LIGHT_COLOURS,
    LIGHT_GREYS,
    LIGHT_HIGH_COLOURS,
    LIGHT_HIGH_GREYS,
    LIGHT_HIGH_SIXTEEN,
    LIGHT_SIXTEEN,
    SIXTEEN,
)

STANDS = ("under", "inside", "over", "ceiling")
USUAL = (COLOURS, GREYS, LIGHT_COLOURS, LIGHT_GREYS)
HIGH = (HIGH_COLOURS, HIGH_GREYS, LIGHT_HIGH_COLOURS, LIGHT_HIGH_GREYS)

TEXT = [
    *((ink, "paper") for ink in ("plain", "strong", "dim", "faint", *STANDS)),
    *((ink, "sheet") for ink in ("plain", "strong", "dim", "faint", *STANDS)),
    *((ink, "latched") for ink in ("plain", "strong", "dim", "under", "over", "ceiling")),
    *(("paper", ground) for ground in ("under", "inside", "over", "ceiling", "level")),
]
"""Every ink and ground that words or numbers are written with: on the screen, in dialogs, in reverse."""

# Full deuteranopia, protanopia and tritanopia on linear RGB: "A Physiologically-based Model
# for Simulation of Color Vision Deficiency", IEEE Trans. Vis. Comput. Graph. 15(6), 2009, severity 1.0;
# figures from memory, their rows add up to 1.
BLINDNESS = {
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.01182, 0.04294, 0.968881],
    ],
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.3039],
    ],
    "none": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
}
APART = 20.0
"""CIE 1976 colour difference; 2.3 is one that can just be seen (common figure, from memory)."""


def _number(ink, depth, inks=COLOURS):
    return Color.parse(inks[ink].split()[-1]).downgrade(depth).number


@pytest.mark.parametrize(
    ("inks", "depth"),
    [
        *((inks, ColorSystem.STANDARD) for inks in (COLOURS, HIGH_SIXTEEN, LIGHT_SIXTEEN)),
        *(
            (inks, ColorSystem.EIGHT_BIT)
            for inks in (COLOURS, HIGH_SIXTEEN, LIGHT_COLOURS, LIGHT_HIGH_COLOURS)
        ),
    ],
)
def test_the_four_stands_stay_apart_at_every_depth(depth, inks):
    """Stepping down to 256 or 16 colours (as Rich does it) merges none of them with the background."""
    numbers = [_number(ink, depth, inks) for ink in (*STANDS, "paper", "latched")]

    assert len(numbers) == len(set(numbers))


def test_in_16_colours_each_stand_keeps_its_family():
    """ANSI numbers: 12 bright blue, 15 white, 11 bright yellow, 13 bright magenta; never red."""
    assert [_number(ink, ColorSystem.STANDARD) for ink in STANDS] == [12, 15, 11, 13]


def test_in_16_colours_on_a_light_ground_the_darker_of_each_family_is_used():
    """ANSI numbers: 4 blue, 0 black, 3 yellow, 5 magenta, on 15 white."""
    numbers = [_number(ink, ColorSystem.STANDARD, LIGHT_SIXTEEN) for ink in (*STANDS, "paper")]

    assert numbers == [4, 0, 3, 5, 15]


@pytest.mark.parametrize("inks", [SIXTEEN, LIGHT_SIXTEEN])
def test_in_16_colours_the_history_differs_from_the_goals_band(inks):
    """16 colours hold few greys; the history must differ from the pass zone."""
    assert _number("band", ColorSystem.STANDARD, inks) != _number("fill", ColorSystem.STANDARD, inks)


@pytest.mark.parametrize("inks", [COLOURS, LIGHT_COLOURS])
def test_in_256_colours_the_histories_inks_stay_apart(inks):
    """Fill, softer fill, band and ground are four things to see."""
    numbers = [_number(ink, ColorSystem.EIGHT_BIT, inks) for ink in ("fill", "soft", "band", "paper")]

    assert len(numbers) == len(set(numbers))


def _linear(ink, inks):
    channels = np.array(Color.parse(inks[ink].split()[-1]).get_truecolor()) / 255.0
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def _luminance(ink, inks):
    return float(_linear(ink, inks) @ [0.2126, 0.7152, 0.0722])


def _contrast(ink, ground, inks):
    """WCAG 2.x, definitions of contrast ratio and of relative luminance."""
    low, high = sorted((_luminance(ink, inks), _luminance(ground, inks)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_text_is_readable_on_its_ground(ink, ground):
    """WCAG 2.x SC 1.4.3 asks for a contrast of 4.5:1, SC 1.4.6 for 7:1, which is what high contrast is."""
    usual = min(_contrast(ink, ground, inks) for inks in USUAL)
    high = min(_contrast(ink, ground, inks) for inks in HIGH)

    assert usual >= 4.5
    assert high >= 7.0


@pytest.mark.parametrize("inks", [*USUAL, *HIGH])
def test_what_is_drawn_stands_out_from_its_ground(inks):
    """WCAG 2.x SC 1.4.11 asks for 3:1 where a graphic carries meaning: bars and the history do."""
    assert min(_contrast(ink, "paper", inks) for ink in ("fill", "level", "under", "over", "ceiling")) >= 3.0


def _lab(linear):
    """CIE 1976 L*a*b* of linear sRGB, white D65 (IEC 61966-2-1, ISO/CIE 11664-4)."""
    to_xyz = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    xyz = np.array(to_xyz) @ linear / [0.9505, 1.0, 1.089]
    x, y, z = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


@pytest.mark.parametrize("inks", [COLOURS, HIGH_COLOURS, LIGHT_COLOURS, LIGHT_HIGH_COLOURS])
@pytest.mark.parametrize("kind", list(BLINDNESS))
def test_the_stands_stay_apart_for_every_kind_of_eye(kind, inks):
    """Under, inside, over and ceiling, each pair, as seen without one kind of cone."""
    seen = [_lab(np.clip(np.array(BLINDNESS[kind]) @ _linear(ink, inks), 0.0, 1.0)) for ink in STANDS]
    apart = [float(np.linalg.norm(one - other)) for one, other in itertools.combinations(seen, 2)]

    assert min(apart) >= APART


def test_each_terminal_gets_its_own_inks():
    """Grey wins over the number of colours; each ground and contrast has a table for each of the three."""
    chosen = [
        tables.inks(contrast, shade, sixteen=sixteen, grey=grey)
        for shade in ("dark", "light")
        for contrast in ("usual", "high")
        for sixteen, grey in ((False, False), (True, False), (True, True))
    ]

    assert chosen == [
        *(COLOURS, SIXTEEN, GREYS, HIGH_COLOURS, HIGH_SIXTEEN, HIGH_GREYS),
        *(LIGHT_COLOURS, LIGHT_SIXTEEN, LIGHT_GREYS),
        *(LIGHT_HIGH_COLOURS, LIGHT_HIGH_SIXTEEN, LIGHT_HIGH_GREYS),
    ]
    assert all(COLOURS.keys() == one.keys() for one in chosen)


@pytest.mark.parametrize("inks", [GREYS, HIGH_GREYS, LIGHT_GREYS, LIGHT_HIGH_GREYS])
def test_without_colour_the_alarm_stands_out_most(inks):
    """In grey an alarm colour must not be the tone on the screen that is seen last."""
    others = max(_contrast(ink, "paper", inks) for ink in ("under", "dim", "faint"))

    assert min(_contrast(ink, "paper", inks) for ink in ("over", "ceiling")) > others
    assert Palette(inks).style("over").bold


def test_nothing_blinks():
    """No tone uses the terminal's blinking, whose rate is not ours (WCAG 2.3.1)."""
    tones = [f"{ink} on {ground} bold" for ink, ground in itertools.product(COLOURS, ("paper", "over"))]

    assert not any(Palette(inks).style(tone).blink for inks in (COLOURS, GREYS) for tone in tones)


def test_in_a_dialog_what_is_reversed_stays_reversed():
    """Dark letters without their light ground would be invisible."""
    palette = Palette()

    assert palette.style("paper on ceiling bold") == palette.ink("paper on ceiling bold")
    assert palette.ink("over bold").bgcolor is None


def test_a_style_is_made_once():
    """Painting looks styles up and never parses them again."""
    palette = Palette()

    assert palette.style("over on latched") is palette.style("over on latched")


def test_ascii_keeps_every_cell():
    """One character for one: the layout is the same, the shapes differ."""
    drawn = "◁◇▷△ ───░░┼███▷ ▁▂▃▄▅▆▇█ −23.0 … ↕◆╳‖ ●○■ ▒╌╂┊▔▀▴▸→"

    assert len(drawn) == len(ascii_text(drawn))
    assert ascii_text(drawn).isascii()
    assert "?" not in ascii_text(drawn)
    assert len(set(ascii_text("◁◇▷△"))) == 4


def test_control_characters_never_reach_the_terminal():
    """A device's name or a label cannot steer the terminal."""
    assert Palette().text("a\tb\x1b[31mc\x9bd") == "a\ufffdb\ufffd[31mc\ufffdd"
