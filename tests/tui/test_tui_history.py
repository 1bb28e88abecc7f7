"""The programme's history, drawn."""

from dataclasses import replace

import numpy as np
import pytest
import scripted_feed as scenes

from sidecar.model.readings import Move, Reading, Ride
from sidecar.model.snapshot import Event, Snapshot, Timeline
from tui.drawing.cells import text_of
from tui.drawing.columns import window
from tui.drawing.panels.events import events_row
from tui.drawing.panels.history import Axis, HistoryDrawing
from tui.drawing.view import View


def _steady(seconds, level, *, integrated=None):
    times = (np.arange(1, round(seconds * 10) + 1) / 10.0).astype(np.float32)
    flat = np.full_like(times, level)
    return Timeline(times, flat, flat if integrated is None else flat * 0 + integrated, np.zeros_like(times))


def _view(history, *, move=None, duration_s=10.0, **look):
    seconds = float(history.seconds[-1])
    integrated = float(history.integrated[-1])
    snapshot = Snapshot(
        "measuring",
        scenes.BROADCAST,
        reading=Reading(seconds=seconds, integrated=integrated),
        this_pass=move,
        duration_s=duration_s,
    )
    return View(snapshot, history, **look)


def _lines(view, width=27, height=8):
    return [text_of(row).rstrip() for row in HistoryDrawing().rows(view, width, height)]


def test_a_steady_programme_on_the_goal_fills_up_to_it():
    """Short-term is filled from below, integrated is a line, the goal's row is labelled."""
    expected = [
        " LUFS",
        " −17.0",
        "       ▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁",
        " −23.0 ██████████▇▇▇▇▇▇▇▇▇▇",
        "       ██████████",
        "       ██████████",
        " −35.0 ██████████",
        " whole 0:00     ▴0:05  0:10",
    ]

    assert _lines(_view(_steady(5.0, -23.0))) == expected


def test_the_forecast_is_drawn_ahead_of_now():
    """From the integrated loudness now to the landing at the programme's end, with its band."""
    move = Move(4.0, -23.0, -26.0, -20.0)
    lines = _lines(_view(_steady(5.0, -32.0), move=move))
    ahead = [line[17:27] for line in lines[1:7]]

    assert ahead[1][9] == "◇"
    assert any("░" in row for row in ahead)
    assert "".join(row[:1] for row in ahead[:2]).strip("▁ ") == ""


@pytest.mark.parametrize("hides", [{"transport": "ended"}, {"stems": scenes.stems().shown.stems}])
def test_a_forecast_that_the_hero_does_not_speak_of_is_not_drawn(hides):
    """The wedge belongs to the move that is shown large, or there is none."""
    view = _view(_steady(5.0, -32.0), move=Move(4.0, -23.0, -26.0, -20.0))
    other = replace(view, snapshot=replace(view.snapshot, **hides))

    assert "░" in "\n".join(_lines(view))
    assert "░" not in "\n".join(_lines(other))


def test_rides_are_marked_in_a_row_of_their_own():
    """Above the chart, beside their name; no row where none is in sight or room is scarce."""
    view = _view(_steady(5.0, -23.0))
    ridden = replace(view, snapshot=replace(view.snapshot, rides=(Ride(1.0, 3.0, -2.0, 0.1),)))
    far = replace(view, snapshot=replace(view.snapshot, rides=(Ride(11.0, 3.0, -2.0, 0.1),)))

    assert _lines(ridden)[1] == " rides   ▼−2.0─"
    assert "rides" not in "\n".join(_lines(far))
    assert "rides" not in "\n".join(_lines(ridden, height=4))
    assert len(_lines(view)) == len(_lines(ridden)) == len(_lines(far))


def test_without_a_length_nothing_is_foretold():
    """No end, no landing of this pass, no wedge."""
    text = "\n".join(_lines(_view(_steady(5.0, -32.0), duration_s=None)))

    assert "░" not in text
    assert "◇" not in text


def test_only_what_passes_the_hot_line_is_drawn_as_over():
    """The colour begins where the alert begins: at the goal's hot line, −18 LUFS here."""
    below = HistoryDrawing().rows(_view(_steady(5.0, -18.5, integrated=-25.0)), 27, 8)
    above = HistoryDrawing().rows(_view(_steady(5.0, -17.5, integrated=-25.0)), 27, 8)

    assert not any("over" in tone for row in below for _, tone in row)
    assert any("over" in tone for row in above for _, tone in row)


@pytest.mark.parametrize("rows", [1, 2, 3, 4, 9, 12, 40])
def test_the_axis_is_fixed_and_the_goal_lies_between_two_rows(rows):
    """Twelve LU under the goal and the goal itself keep their height, whatever is played."""
    axis = Axis(rows, 12.0)

    assert axis.eighths(0.0) % 8 == 0
    assert 0 <= axis.eighths(-12.0) <= axis.eighths(0.0) <= axis.eighths(6.0) <= rows * 8
    assert (rows * 8, 0, 0) == (axis.eighths(99.0), axis.eighths(-99.0), axis.eighths(-np.inf))


@pytest.mark.parametrize(("width", "height"), [(80, 6), (120, 15), (10, 3), (8, 1), (3, 4)])
@pytest.mark.parametrize("scene", [scenes.preparing, scenes.down, scenes.alerted, scenes.long])
def test_every_row_has_the_width_of_the_panel(scene, width, height):
    """Whatever the size and the programme, nothing sticks out and nothing is missing."""
    feed = scene()
    rows = HistoryDrawing().rows(View(feed.snapshot(), feed.timeline()), width, height)

    assert [width] * height == [len(text_of(row)) for row in rows]


@pytest.mark.parametrize(("zoom_s", "label"), [(30.0, "30 s"), (300.0, "5 min"), (None, "whole")])
def test_the_zoom_is_written_beside_the_time(zoom_s, label):
    """Nobody has to guess what stretch is shown."""
    feed = scenes.down()
    view = View(feed.snapshot(), feed.timeline(), zoom_s=zoom_s)

    assert _lines(view, 80, 6)[-1].startswith(f" {label} ")


def test_events_are_marked_with_their_text_where_it_fits():
    """A sign at the moment, words only if the next sign leaves them room."""
    shown = window(10.0, 10.0, None, 40)
    events = (
        Event(1.0, "move", "−1.0 dB"),
        Event(4.0, "mark", "a label that is far too long"),
        Event(6.0, "alert", "ceiling"),
        Event(9.0, "gap", ""),
    )

    assert text_of(events_row(events, shown)) == "   ↕−1.0 dB    ◆       △ceiling    ╳    "


def test_in_a_crowded_column_the_gravest_event_is_shown():
    """An alert is never hidden by a mark."""
    shown = window(10.0, 10.0, None, 10)
    events = (Event(5.0, "alert", "hot"), Event(5.0, "mark", ""), Event(99.0, "gap", ""))

    assert text_of(events_row(events, shown))[4] == "▷"
    assert "╳" not in text_of(events_row(events, shown))


def test_an_event_at_the_very_start_is_seen():
    """The first moment belongs to the first column."""
    assert text_of(events_row((Event(0.0, "mark", ""),), window(10.0, 10.0, None, 10)))[0] == "◆"
