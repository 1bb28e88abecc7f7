"""The programme's history, drawn."""

import re
from dataclasses import replace

import numpy as np
import pytest
import scripted_feed as scenes

from sidecar.model.advice import Advice
from sidecar.model.readings import Move, Reading, Ride
from sidecar.model.snapshot import Event, Snapshot, Timeline
from tui.controller import Controller
from tui.drawing.axis import Axis, Reach
from tui.drawing.cells import text_of
from tui.drawing.columns import window
from tui.drawing.panels.events import events_row
from tui.drawing.panels.history import HistoryDrawing
from tui.drawing.scale import GoalScale
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
        advice=Advice() if move is None else Advice("move", move, lands_this_pass=True),
        duration_s=duration_s,
    )
    return View(snapshot, history, **look)


def _lines(view, width=27, height=8):
    return [text_of(row).rstrip() for row in HistoryDrawing().rows(view, width, height)]


def test_a_steady_programme_on_the_goal_fills_up_to_it():
    """Short-term is filled from below, integrated is a line, the goal's row is labelled."""
    expected = [
        " LUFS",
        " −20.0",
        "",
        "       ▃▃▃▃▃▃▃▃▃▃▃▃▃▃▃▃▃▃▃▃",
        " −23.0 ▔▔▔▔▔▔▔▔▔▔▆▆▆▆▆▆▆▆▆▆",
        "       ██████████",
        " −29.0 ██████████",
        " whole ╵0:00    ▴0:05  0:10",
    ]

    assert _lines(_view(_steady(5.0, -23.0))) == expected


def _forecast_tones(view):
    rows = HistoryDrawing().rows(view, 27, 12)
    return {tone.split(" on ")[-1] for row in rows for _, tone in row if "ahead-" in tone}


def test_the_forecast_is_drawn_ahead_of_now():
    """From the integrated loudness now to the landing at the programme's end, with its band."""
    lines = _lines(_view(_steady(5.0, -32.0), move=Move(4.0, -23.0, -26.0, -20.0)), height=12)
    ahead = [line[17:27].ljust(10) for line in lines[1:11]]
    last = [row[9] for row in ahead]

    assert last.count("◇") == 1
    assert last.index("◇") in (2, 3)
    assert {char for row in ahead for char in row} & set("▁▂▃▄▅▆▇")
    assert "".join(row[:2] for row in ahead[:3]).strip("▁▂▃ ") == ""


@pytest.mark.parametrize("hides", [{"transport": "ended"}, {"advice": Advice("move", Move(4.0, -23.0))}])
def test_a_forecast_that_the_hero_does_not_speak_of_is_not_drawn(hides):
    """The wedge belongs to the move that is shown large, or there is none."""
    view = _view(_steady(5.0, -32.0), move=Move(4.0, -23.0, -26.0, -20.0))
    other = replace(view, snapshot=replace(view.snapshot, **hides))

    assert _forecast_tones(view)
    assert not _forecast_tones(other)


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
    view = _view(_steady(5.0, -32.0), duration_s=None)

    assert not _forecast_tones(view)
    assert "◇" not in "\n".join(_lines(view))


def test_only_what_passes_the_hot_line_is_drawn_as_over():
    """The colour begins where the alert begins: at the goal's hot line, −18 LUFS here."""
    below = HistoryDrawing().rows(_view(_steady(5.0, -18.5, integrated=-25.0)), 27, 8)
    above = HistoryDrawing().rows(_view(_steady(5.0, -17.5, integrated=-25.0)), 27, 8)

    assert not any("over" in tone for row in below for _, tone in row)
    assert any("over" in tone for row in above for _, tone in row)


@pytest.mark.parametrize("rows", [2, 3, 4, 9, 12, 40])
@pytest.mark.parametrize("reach", [Reach(3.0, 6.0), Reach(18.0, 6.0), Reach(3.0, 36.0)])
def test_the_goal_lies_between_two_rows_in_the_middle_third(rows, reach):
    axis = Axis(rows, reach)

    assert rows // 3 <= axis.above <= rows - rows // 3
    assert axis.goal == (rows - axis.above) * 8 == axis.eighths(0.0)
    assert (axis.eighths(reach.above_lu), axis.eighths(-reach.below_lu)) == (rows * 8, 0)
    assert (rows * 8, 0, 0) == (axis.eighths(99.0), axis.eighths(-99.0), axis.eighths(-np.inf))


@pytest.mark.parametrize("rows", [4, 14, 40])
def test_the_axis_is_the_lens_of_the_scales_turned(rows):
    """The same share of the way to the reach, on either."""
    axis, scale = Axis(rows, Reach(18.0, 18.0)), GoalScale(2 * rows * 8 + 1, 18.0)
    offsets = (0.2, 1.0, 3.0, 9.0, 18.0)
    shares = [(scale.cell(lu) - scale.middle) / scale.middle for lu in offsets]

    assert [(axis.eighths(lu) - axis.goal) / (axis.above * 8) for lu in offsets] == pytest.approx(
        shares, abs=1.0 / (axis.above * 8)
    )


def test_the_reach_is_chosen_from_the_data_and_a_pause_in_speech_does_not_flatten_it():
    history = _steady(60.0, -23.0)
    levels = history.short_term.copy()
    levels[100:110], levels[300:305] = -15.5, -68.0
    view = _view(replace(history, short_term=levels), duration_s=60.0)
    labels = [line[:6].strip() for line in _lines(view, 67, 20) if line[:6].strip()]

    assert (labels[1], labels[-2]) == ("−14.0", "−29.0")


def test_the_picture_does_not_jump_back_while_the_same_stretch_is_looked_at():
    drawing, history = HistoryDrawing(), wandering_loud()
    loud = replace(_view(history, duration_s=60.0), zoom_s=30.0)
    soft = replace(_view(_steady(61.0, -23.0), duration_s=60.5), zoom_s=30.0)
    tops = [text_of(drawing.rows(view, 67, 12)[1])[:6] for view in (loud, soft)]

    assert tops == [" −14.0", " −14.0"]


def wandering_loud():
    history = _steady(60.0, -23.0)
    return replace(history, short_term=np.where(history.seconds > 50.0, -15.0, -23.0).astype(np.float32))


def test_what_is_cut_above_has_a_mark_on_the_upper_edge():
    history = _steady(10.0, -2.0)
    rows = HistoryDrawing().rows(_view(history, duration_s=10.0), 27, 9)

    assert text_of(rows[1])[7:] == "▲" * 20
    assert "▲" not in "".join(_lines(_view(_steady(10.0, -6.0), duration_s=10.0)))


@pytest.mark.parametrize("level", [-22.0, -22.4, -23.0, -25.0, -27.7])
def test_integrated_erases_no_edge_of_short_term(level):
    """Where a column ends is read in each of them, with the line and without."""
    history = scenes.wandering_history(60.0, -22.0)
    history = replace(history, integrated=np.full_like(history.short_term, level))
    without = replace(history, integrated=np.full_like(history.short_term, np.nan))
    with_line, bare = (_lines(_view(c, duration_s=60.0), 67, 14) for c in (history, without))
    edges = set("▂▃▄▅▆▇")
    kept = [
        (a, b) for one, other in zip(with_line, bare, strict=True) for a, b in zip(one, other, strict=False)
    ]

    assert sum(b in edges for _, b in kept) > 40
    assert all(a == b for a, b in kept if b in edges)


def test_integrated_has_one_weight():
    history = _steady(20.0, -40.0, integrated=-22.0)
    history = replace(history, integrated=np.linspace(-25.0, -21.0, len(history.seconds)).astype(np.float32))
    drawn = "".join(_lines(_view(history, duration_s=20.0), 67, 14)[1:-1])

    assert set(drawn) & set("─━▁▔▂▅▆▇") == set("━▁▔")


@pytest.mark.parametrize("zoom_s", [30.0, None])
def test_the_time_has_ticks_at_even_times(zoom_s):
    feed = scenes.down()
    row = _lines(View(feed.snapshot(), feed.timeline(), zoom_s=zoom_s), 80, 6)[-1]
    ticks = re.findall(r"╵(\d+):(\d\d)", row)
    seconds = [60 * int(minute) + int(second) for minute, second in ticks]

    assert len(seconds) >= 2
    assert not any(second % (5 if zoom_s else 60) for second in seconds)


def test_without_half_blocks_goal_and_forecast_have_signs_of_their_own():
    view = _view(_steady(5.0, -26.0, integrated=-24.0), move=Move(4.0, -23.0, -26.0, -20.0))
    view = replace(view, half_blocks=False)
    chart = [line[7:].ljust(20) for line in _lines(view, height=14)[1:-1]]

    assert {row[2] for row in chart} >= {".", "█"}
    assert {row[19] for row in chart} >= {":", "◇"}
    assert not {char for row in chart for char in row[11:]} & set("█▇▆▅▄▃▂")


@pytest.mark.parametrize(("width", "height"), [(80, 6), (120, 15), (10, 3), (8, 1), (3, 4)])
@pytest.mark.parametrize("scene", [scenes.preparing, scenes.down, scenes.alerted, scenes.long])
def test_every_row_has_the_width_of_the_panel(scene, width, height):
    """Whatever the size and the programme, nothing sticks out and nothing is missing."""
    feed = scene()
    rows = HistoryDrawing().rows(View(feed.snapshot(), feed.timeline()), width, height)

    assert [width] * height == [len(text_of(row)) for row in rows]


@pytest.mark.parametrize(
    ("zoom_s", "label"), [(30.0, "30 s"), (120.0, "2 min"), (900.0, "whole"), (None, "whole")]
)
def test_the_zoom_is_written_beside_the_time(zoom_s, label):
    """A stretch longer than the programme shows the whole of it, and is called so."""
    feed = scenes.down()
    view = View(feed.snapshot(), feed.timeline(), zoom_s=zoom_s)

    assert _lines(view, 80, 6)[-1].startswith(f" {label} ")


@pytest.mark.parametrize(
    ("duration_s", "expected"), [(240.0, 120.0), (45.0, 30.0), (2_000.0, 900.0), (20.0, None)]
)
def test_the_first_press_of_zoom_shows_less_than_the_whole(duration_s, expected):
    feed = scenes.down()
    feed.change(duration_s=duration_s, reading=replace(feed.shown.reading, seconds=15.0))
    controller = Controller(feed)
    controller.zoom(-1)
    nearer = controller.read_view().zoom_s
    controller.zoom(1)

    assert nearer == expected
    assert controller.read_view().zoom_s is None


def test_events_are_marked_with_their_text_where_it_fits():
    """A sign at the moment, words only if the next sign leaves them room."""
    shown = window(10.0, 10.0, None, 40)
    events = (
        Event(1.0, "move", "−1.0 dB"),
        Event(4.0, "marker", "a label that is far too long"),
        Event(6.0, "alert", "ceiling"),
        Event(9.0, "gap", ""),
    )

    assert text_of(events_row(events, shown)) == "   ↕−1.0 dB    ◆       △ceiling    ╳    "


def test_in_a_crowded_column_the_gravest_event_is_shown():
    """An alert is never hidden by a mark."""
    shown = window(10.0, 10.0, None, 10)
    events = (Event(5.0, "alert", "hot"), Event(5.0, "marker", ""), Event(99.0, "gap", ""))

    assert text_of(events_row(events, shown))[4] == "▲"
    assert "╳" not in text_of(events_row(events, shown))


def test_an_event_at_the_very_start_is_seen():
    """The first moment belongs to the first column."""
    assert text_of(events_row((Event(0.0, "marker", ""),), window(10.0, 10.0, None, 10)))[0] == "◆"


@pytest.mark.parametrize(("half_blocks", "mark"), [(True, "▁"), (False, '"')])
def test_dialogue_is_a_line_along_the_floor(half_blocks, mark):
    history = _steady(10.0, -21.0)
    flags = np.zeros(100, np.bool_)
    flags[20:60] = True
    view = _view(replace(history, dialogue=flags), half_blocks=half_blocks)
    floor, plain = (_lines(replace(view, history=shown))[-2] for shown in (view.history, history))

    assert floor[7 + 4 : 7 + 12] == mark * 8
    assert floor[:11] + floor[19:] == plain[:11] + plain[19:]
