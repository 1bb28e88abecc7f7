"""Every dialog on a terminal that knows ASCII only."""

import html
import re

import pytest
import scripted_feed as scenes
from driving import COMPACT, drive, until

from tui.screens.main import MainScreen

OPENING = {
    "r": scenes.down,
    "g": scenes.down,
    "M": scenes.down,
    "i": scenes.riding,
    "b": scenes.stems,
    "l": scenes.alerted,
    "t": scenes.alerted,
    "x": scenes.unarmed,
    "question_mark": scenes.down,
    "colon": scenes.down,
}


def _painted(app):
    """All text of the screen, dialog and footer included."""
    nodes = re.findall(r"<text[^>]*>([^<]*)</text>", app.export_screenshot())
    return html.unescape("".join(nodes)).replace("\xa0", " ")


@pytest.mark.parametrize("key", list(OPENING))
def test_a_dialog_is_ascii_where_the_terminal_knows_no_more(key):
    """Words, frames, scroll bars and the footer: nothing arrives as a question mark in a box."""

    async def script(pilot):
        await pilot.press(key)
        await until(pilot, lambda: not isinstance(pilot.app.screen, MainScreen), "the dialog")
        await pilot.pause(0.3)
        painted = _painted(pilot.app)
        assert [] == sorted({char for char in painted if not char.isascii()})
        assert len(painted) > 500

    drive(OPENING[key](), script, COMPACT, ascii_only=True)
