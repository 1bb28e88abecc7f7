"""Looking back: the cursor, the window that goes with it, and what is read there."""

import numpy as np
import pytest
import scripted_feed as scenes
from driving import GENEROUS, drive, shown, until

from sidecar.model.commands import Mark
from sidecar.model.snapshot import Event, Timeline
from tui.controller import Controller
from tui.cursor import Cursor
from tui.drawing.cells import text_of
from tui.drawing.columns import Window, around, window
from tui.drawing.panels.cursor import reading_row
from tui.drawing.panels.history import GUTTER, HistoryDrawing
from tui.drawing.view import View


def _at(now_s=100.0, at_s=None):
    cursor = Cursor()
    cursor.programme_reached(now_s)
    if at_s is not None:
        cursor.place(at_s)
    return cursor


def test_the_first_move_shows_the_cursor_at_now():
    """Nothing jumps: what is read there at first is what was read all along."""
    cursor = _at()
    cursor.move(-10.0)
    first = cursor.at_s
    cursor.move(-10.0)

    assert (first, cursor.at_s) == (100.0, 90.0)


@pytest.mark.parametrize(("at_s", "expected"), [(-3.0, 0.0), (99.0, 99.0), (1e9, 100.0)])
def test_the_cursor_stays_inside_what_was_heard(at_s, expected):
    """There is nothing to be read before the beginning or after now."""
    assert _at(at_s=at_s).at_s == expected


def test_a_reset_dismisses_the_cursor_and_time_does_not():
    """The moment it stood on is gone with the old pass; a programme that goes on leaves it in place."""
    cursor = _at(at_s=40.0)
    cursor.programme_reached(100.1)
    kept = cursor.at_s
    cursor.programme_reached(0.2)

    assert (kept, cursor.at_s) == (40.0, None)


@pytest.mark.parametrize(
    ("at_s", "direction", "expected"),
    [(None, -1, 70.0), (70.0, -1, 30.0), (30.0, -1, 30.0), (30.0, 1, 70.0), (70.0, 1, None), (None, 1, None)],
)
def test_jumps_go_from_place_to_place_and_end_at_now(at_s, direction, expected):
    """Before the first one it stays; behind the last one the history follows now again."""
    cursor = _at(at_s=at_s)
    cursor.jump([30.0, 70.0], direction)

    assert cursor.at_s == expected


def test_the_window_moves_no_further_than_the_cursor_needs():
    """The picture does not move while the cursor is inside it, and keeps a tenth before it at the edges."""
    live = window(1000.0, None, 30.0, 100)
    back = around(live, None, 900.0)

    assert live == around(live, None, 985.0)
    assert back.column(900.0) == 10
    assert back == around(live, back, 920.0)
    assert around(live, back, 0.1).first == 0
    assert live == around(live, back, 1000.0)


def test_another_zoom_begins_at_now_again():
    """Columns of another width cannot lie where those before lay."""
    live = window(1000.0, None, 60.0, 100)

    assert around(live, None, 990.0) == around(live, Window(3, 100, 0.3), 990.0)


def _flat(level=-20.0, fader_db=-3.5, events=()):
    times = (np.arange(1, 601) / 10.0).astype(np.float32)
    same = np.full_like(times, level)
    return Timeline(times, same, same - 3.0, np.full_like(times, fader_db), tuple(events))


def _read(history, at_s, width=100, **look):
    view = View(scenes.down().shown, history, cursor_s=at_s, **look)
    return text_of(reading_row(view, window(60.0, 60.0, None, 60), width)).rstrip()


def test_the_reading_says_time_levels_and_fader_with_their_units():
    """The sample that ends at the cursor, in LUFS and dB (EBU Tech 3341 §2.8: the unit always)."""
    history = _flat()
    history.short_term[299] = -21.26
    history.integrated[299] = -24.0

    assert _read(history, 30.0) == "▴0:30.0  short-term −21.3 LUFS  integrated −24.0 LUFS  fader −3.5 dB"
    assert _read(history, 30.1) == "▴0:30.1  short-term −20.0 LUFS  integrated −23.0 LUFS  fader −3.5 dB"


def test_a_closed_fader_is_off_and_an_unknown_one_is_not_told_of():
    """A file has no fader; where none is known, none is shown."""
    assert _read(_flat(fader_db=-np.inf), 30.0).endswith("fader off")
    assert "fader" not in _read(_flat(fader_db=np.nan), 30.0)


def test_in_lu_the_reading_is_an_offset():
    """As everywhere on the screen."""
    assert "short-term +3.0 LU  integrated 0.0 LU" in _read(_flat(), 30.0, relative=True)


def test_over_the_line_is_said_with_its_shape():
    """−17.9 LUFS is over the hot line of −18 LUFS; −18.0 is not."""
    assert "▲ short-term −17.9 LUFS" in _read(_flat(-17.9), 30.0)
    assert "▲" not in _read(_flat(-18.0), 30.0)


def test_events_near_the_cursor_are_told_the_nearest_first():
    """Within half a second, or within the cursor's own column where that is wider."""
    events = (Event(29.6, "marker", "verse"), Event(30.1, "move", "−1.0 dB"), Event(34.0, "gap", "gap"))

    assert _read(_flat(events=events), 30.0, 120).endswith("↕ −1.0 dB  ◆ verse")


@pytest.mark.parametrize("width", [13, 40, 73])
def test_a_narrow_reading_is_cut_to_its_room(width):
    """Letters in place of words, then what does not fit is left out."""
    events = (Event(30.0, "marker", "a label that is far too long for any line of this width"),)
    view = View(scenes.down().shown, _flat(events=events), cursor_s=30.0)
    row = text_of(reading_row(view, window(60.0, 60.0, None, 60), width))

    assert width == len(row)
    assert row.startswith("▴0:30.0")


def test_before_anything_was_heard_the_reading_says_so():
    """No figure is invented."""
    assert _read(scenes.wandering_history(0.0), 0.0) == "nothing measured yet"


def test_the_line_stands_in_the_cursors_column():
    """From the top of the chart to its floor."""
    feed = scenes.down()
    view = View(feed.shown, feed.history_shown, cursor_s=100.0)
    drawing = HistoryDrawing()
    rows = [text_of(row) for row in drawing.rows(view, 80, 6)]
    x = GUTTER + drawing.shown.column(100.0)

    assert [row[x] for row in rows[1:5]] == ["│"] * 4
    assert "".join(rows).count("│") == 4


@pytest.mark.parametrize("height", [2, 3])
def test_where_the_history_has_little_room_the_reading_is_there_all_the_same(height):
    """As beside a table of stems at 80×24: a cursor without its reading would be of no use."""
    feed = scenes.down()
    rows = HistoryDrawing().rows(View(feed.shown, feed.history_shown, cursor_s=100.0), 80, height)

    assert height == len(rows)
    assert "▴1:40.0  S " in text_of(rows[-1])


@pytest.mark.slow
def test_keys_move_the_cursor_and_escape_lets_it_go():
    """Left shows it, further left moves it by a column, and the history follows now again in the end."""

    async def script(pilot):
        cursor = pilot.app.controller.cursor
        await pilot.press("left")
        await until(pilot, lambda: "▴3:04.0  short-term" in shown(pilot.app), "the reading at now")
        await pilot.press("left", "shift+left")
        moved = cursor.at_s
        await until(pilot, lambda: "▴2:34." in shown(pilot.app), "the reading before")
        await pilot.press(*["left_square_bracket"] * 2)
        await until(pilot, lambda: " 1 min" in shown(pilot.app), "a minute")
        await pilot.press("pageup")
        paged = cursor.at_s
        assert moved - paged == pytest.approx(48.0, abs=0.1)
        await pilot.press("home")
        first = cursor.at_s
        await pilot.press("right")
        assert first == 0.0 < cursor.at_s < paged
        await pilot.press("escape")
        await until(pilot, lambda: "▴3:04 " in shown(pilot.app), "now")
        assert cursor.at_s is None

    feed = scenes.down()
    drive(feed, script, GENEROUS)

    assert feed.told == []


@pytest.mark.slow
def test_a_click_on_the_history_puts_the_cursor_there():
    """The column under the pointer, to the cell."""

    async def script(pilot):
        panel = pilot.app.screen.query_one("#historypanel")
        await pilot.click("#historypanel", offset=(GUTTER + 30, 3))
        await until(pilot, lambda: pilot.app.controller.cursor.at_s is not None, "the cursor")
        assert pilot.app.controller.cursor.at_s == pytest.approx(panel.shown.time_s(30))

    drive(scenes.down(), script, GENEROUS)


def test_jumping_goes_to_events_and_to_where_it_went_over():
    """From now back: the fader, the alert, the mark, the stretch over the line before."""
    feed = scenes.down()
    feed.history_shown.short_term[300:310] = -10.0
    controller = Controller(feed)
    feed.history_shown.short_term[400:] = -30.0
    feed.history_shown.short_term[:300] = -30.0
    feed.history_shown.short_term[310:400] = -30.0
    controller.read_view()
    seen = []
    for _ in range(6):
        controller.jump(-1)
        seen.append(round(controller.cursor.at_s, 1))

    assert seen == [170.0, 140.0, 101.0, 52.0, 30.1, 30.1]


@pytest.mark.slow
def test_a_mark_is_set_at_now_and_not_at_the_cursor():
    """The cursor only looks; it changes nothing of the run."""

    async def script(pilot):
        await pilot.press("home", "m")

    feed = scenes.down()
    drive(feed, script)

    assert [Mark()] == feed.told
