"""Every dialog on a terminal that knows ASCII only."""

import html
import re

import pytest
import scripted_feed as scenes
from driving import COMPACT, drive, until

from tui.screens.main import MainScreen

OPENING = [
    (scenes.down, ["r", "g", "M", "question_mark", "colon"]),
    (scenes.riding, ["i"]),
    (scenes.stems, ["b"]),
    (scenes.alerted, ["l", "t"]),
    (scenes.unarmed, ["x"]),
]


def _painted(app):
    """All text of the screen, dialog and footer included."""
    nodes = re.findall(r"<text[^>]*>([^<]*)</text>", app.export_screenshot())
    return html.unescape("".join(nodes)).replace("\xa0", " ")


@pytest.mark.slow
@pytest.mark.parametrize(("scene", "keys"), OPENING)
def test_a_dialog_is_ascii_where_the_terminal_knows_no_more(scene, keys):
    """Words, frames, scroll bars and the footer: nothing arrives as a question mark in a box."""

    async def script(pilot):
        for key in keys:
            await pilot.press(key)
            await until(pilot, lambda: not isinstance(pilot.app.screen, MainScreen), f"the dialog of {key}")
            await pilot.pause(0.3)
            painted = _painted(pilot.app)
            assert (key, []) == (key, sorted({char for char in painted if not char.isascii()}))
            assert len(painted) > 500
            await pilot.press("escape")
            await until(pilot, lambda: isinstance(pilot.app.screen, MainScreen), f"the end of {key}")

    drive(scene(), script, COMPACT, ascii_only=True)
