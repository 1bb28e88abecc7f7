"""Where the eye must go: the painted area of each panel, weighted by its contrast."""

from collections import Counter

import pytest
import scripted_feed as scenes
from driving import COMPACT, GENEROUS, drive, settled

from tui.theme import inks
from tui.widgets.panel import Panel

WALL = (200, 60)
STRONG = 4.5
"""Contrast with the screen's ground from which something is seen at a glance (WCAG 2.x SC 1.4.3)."""
GLYPH = 0.3
"""Share of its cell that a letter or figure covers: a rough average of terminal fonts, ours."""
COVER = {
    **dict.fromkeys(" ", 0.0),
    **{char: eighths / 8.0 for eighths, char in enumerate("▁▂▃▄▅▆▇█", 1)},
    **dict.fromkeys("▀▒", 0.5),
    **dict.fromkeys("░", 0.25),
    **dict.fromkeys("─▔╌│┊╂", 0.125),
}


def _luminance(colour):
    channels = [channel / 255.0 for channel in colour.get_truecolor()]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _stands_out(colour, paper):
    low, high = sorted((_luminance(colour), _luminance(paper)))
    contrast = (high + 0.05) / (low + 0.05)
    return contrast - 1.0 if contrast >= STRONG else 0.0


def areas(app):
    """Cells times contrast of each panel, ink and ground each for the share that it covers."""
    paper, found = app.palette.style("plain").bgcolor, Counter()
    for panel in app.screen.query(Panel):
        for y in range(panel.size.height):
            for text, style, _ in panel.render_line(y):
                ink, ground = _stands_out(style.color, paper), _stands_out(style.bgcolor, paper)
                cover = sum(COVER.get(char, GLYPH) for char in text)
                found[panel.id] += cover * ink + (len(text) - cover) * ground
    return found


def _areas(scene, size):
    """Of a scene at a size, on each ground."""
    found = {}

    async def script(pilot):
        await settled(pilot, size[1] - 1)
        for shade in ("dark", "light"):
            pilot.app.palette.use(inks("usual", shade))
            pilot.app.screen.draw_anew()
            found[shade] = areas(pilot.app)

    drive(scene(), script, size)
    return found


@pytest.mark.slow
@pytest.mark.parametrize("size", [COMPACT, GENEROUS, WALL])
@pytest.mark.parametrize("scene", [scenes.down, scenes.up, scenes.alerted, scenes.stems])
def test_the_move_is_seen_first_then_what_is_over_or_under_then_the_forecast(scene, size):
    """The three largest areas of contrast, in this order, at each layout and on both grounds; a forecast is
    drawn where the pass has a known end and the move is for this pass."""
    for found in _areas(scene, size).values():
        order = [name for name, _ in found.most_common(3)]

        assert order[:2] == ["hero", "scales"]
        assert order[2] == "historypanel" or scene in (scenes.up, scenes.stems)
