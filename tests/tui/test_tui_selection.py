"""Text that is selected with the mouse."""

import scripted_feed as scenes
from driving import GENEROUS, drive, settled, until
from textual.geometry import Offset

from tui.drawing.cells import text_of
from tui.widgets.panel import Panel


async def drag(pilot, start, end):
    await pilot.mouse_down(offset=start)
    await pilot.hover(offset=end)
    await pilot.mouse_up(offset=end)
    await pilot.pause()


def row_of(app, words):
    """The row of the screen that has *words*, and where they begin."""
    for panel in app.screen.query(Panel):
        for y, row in enumerate(panel.rows):
            if (x := text_of(row).find(words)) >= 0:
                return panel, Offset(x, panel.region.y + y)
    raise AssertionError(words)


def test_what_is_selected_is_copied_and_shown_reversed():
    words = "−22.1 LUFS"

    async def script(pilot):
        await settled(pilot, 39)
        panel, start = row_of(pilot.app, words)
        await drag(pilot, start, start + Offset(len(words) - 1, 0))
        strip = panel.render_line(start.y - panel.region.y)
        ink = pilot.app.palette.style("paper on inside")
        reversed_ = [segment.text for segment in strip if segment.style == ink]
        await pilot.press("c")
        assert words in reversed_
        assert strip.cell_length == 120

    app = drive(scenes.down(), script, GENEROUS)
    assert app.clipboard == words


def test_a_selection_over_two_panels_has_the_rows_of_both():
    async def script(pilot):
        await settled(pilot, 39)
        _, start = row_of(pilot.app, "● measuring")
        _, end = row_of(pilot.app, "from the top")
        await drag(pilot, start, end + Offset(len("from the top"), 0))
        await pilot.press("c")

    lines = drive(scenes.down(), script, GENEROUS).clipboard.splitlines()
    assert lines[0].startswith("● measuring")
    assert lines[-1].endswith("from the top")
    assert 2 < len(lines) < 5


def test_a_selection_in_the_history_places_no_cursor_and_a_click_ends_it():
    async def script(pilot):
        await settled(pilot, 39)
        history = pilot.app.screen.query_one("#historypanel").region
        await drag(pilot, history.offset + Offset(20, 4), history.offset + Offset(40, 6))
        assert pilot.app.screen.selections
        assert pilot.app.controller.cursor.at_s is None
        await pilot.click(offset=history.offset + Offset(30, 4))
        await until(pilot, lambda: pilot.app.controller.cursor.at_s is not None, "the cursor")
        assert not pilot.app.screen.selections
        await pilot.press("c")

    assert "integrated −22.1 LUFS" in drive(scenes.down(), script, GENEROUS).clipboard
