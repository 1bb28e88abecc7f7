"""The log: what happened, where it went over, and where OSC goes."""

from dataclasses import replace

import numpy as np
import pytest
import scripted_feed as scenes
from driving import GENEROUS, drive, until
from textual.widgets import Static

from sidecar.model.snapshot import Event, Timeline
from tui.controller import Controller
from tui.drawing.cells import text_of
from tui.drawing.panels.log import MOST, log_rows, summary, target_rows
from tui.drawing.panels.overs import Over, overs, places_s
from tui.screens.log import LogDialog


def _history(levels, events=()):
    short_term = np.array(levels, np.float32)
    times = (np.arange(1, len(levels) + 1) / 10.0).astype(np.float32)
    return Timeline(times, short_term, short_term, np.zeros_like(times), tuple(events))


def _obvious(levels, line):
    """The runs above *line* as (first, behind the last, highest), one sample at a time."""
    runs, inside = [], False
    for place, level in enumerate(levels):
        if level > line and inside:
            runs[-1] = (runs[-1][0], place + 1, max(runs[-1][2], level))
        elif level > line:
            runs.append((place, place + 1, level))
        inside = level > line
    return runs


@pytest.mark.parametrize("seed", range(5))
def test_stretches_over_are_those_of_a_walk_through_the_history(seed):
    """Against an obvious search: starts, ends and maxima are the same, to the tenth of a second."""
    levels = np.random.default_rng(seed).choice([-30.0, -18.0, -17.5, -12.0], 200).tolist()
    found = [
        (round(o.start_s * 10), round(o.end_s * 10), o.highest_lufs)
        for o in overs(_history(levels), scenes.BROADCAST)
    ]

    assert _obvious(levels, -18.0) == found


def test_a_stricter_limit_of_the_document_counts():
    """Where a goal limits short-term below its hot line, that is what the programme goes over."""
    strict = replace(scenes.BROADCAST, max_short_term_lufs=-20.0)

    assert overs(_history([-19.0]), scenes.BROADCAST) == ()
    assert (Over(0.0, pytest.approx(0.1), -19.0),) == overs(_history([-19.0]), strict)


def test_an_empty_history_has_no_places():
    """Before the first sample there is nowhere to go."""
    assert places_s(_history([]), scenes.BROADCAST) == []


def test_the_log_is_newest_first_with_times():
    """Events and stretches over the limit in one list."""
    levels = [-30.0] * 200
    levels[50:61] = [-15.0] * 11
    events = (Event(2.0, "marker", "verse"), Event(9.0, "move", "−1.0 dB"), Event(12.0, "gap", "0.20 s lost"))
    feed = scenes.down()
    feed.history_shown = _history(levels, events)
    rows = [text_of(row).split() for row in log_rows(Controller(feed).read_view(), 80)]

    assert rows == [
        ["0:12", "╳", "gap", "0.20", "s", "lost"],
        ["0:09", "↕", "move", "−1.0", "dB"],
        ["0:05.0,", "1.1", "s", "▲", "hot", "short-term", "up", "to", "−15.0", "LUFS"],
        ["0:02", "◆", "marker", "verse"],
    ]


def test_how_often_and_how_long_is_summed_up():
    """Two stretches of a second each are two seconds."""
    levels = [-30.0] * 10 + [-15.0] * 10 + [-30.0] * 10 + [-16.0] * 10
    view = Controller(scenes.down()).read_view()
    said = text_of(summary(replace(view, history=_history(levels))))
    calm = replace(view, history=_history([-30.0]))

    assert said == "Short-term was over −18.0 LUFS 2 times, 2.0 s in all."
    assert "never over −18.0 LUFS" in text_of(summary(calm))
    assert "never over +5.0 LU." in text_of(summary(replace(calm, relative=True)))


def test_an_alert_is_listed_under_its_own_name():
    feed = scenes.down()
    feed.history_shown = _history([-30.0] * 200, (Event(3.0, "alert", "ceiling −0.4 dBTP"),))
    row = text_of(log_rows(Controller(feed).read_view(), 80)[0]).split()

    assert row == ["0:03", "△", "ceiling", "alert", "−0.4", "dBTP"]


def test_what_is_too_old_is_counted():
    """A long evening stays a list that can be drawn ten times a second."""
    feed = scenes.down()
    events = [Event(n * 0.1, "marker", str(n)) for n in range(MOST + 7)]
    feed.history_shown = _history([-30.0] * 600, events)
    rows = log_rows(Controller(feed).read_view(), 80)

    assert text_of(rows[-1]) == "and 7 before"
    assert len(rows) == MOST + 1


def test_where_sending_fails_is_said_with_the_reason():
    """Each place on its own line."""
    lines = [text_of(row) for row in target_rows(scenes.alerted().shown.targets, 80)]

    assert lines[0] == "OSC ▸ 127.0.0.1:9000 12 034 sent"
    assert lines[1] == "OSC ▸ lights.local:7700 11 020 sent ╳ 14 failed: no route to host"
    assert text_of(target_rows((), 80)[0]) == "OSC off."


@pytest.mark.slow
def test_l_opens_the_log_and_it_follows_the_run():
    """What happens while it is open is at its top."""
    feed = scenes.alerted()

    def listed(app):
        return str(app.screen.query_one("#list", Static).content)

    async def script(pilot):
        await pilot.press("l")
        await until(pilot, lambda: isinstance(pilot.app.screen, LogDialog), "the log")
        await until(pilot, lambda: "╳ gap" in listed(pilot.app), "the gap")
        history = feed.history_shown
        feed.history_shown = replace(history, events=(*history.events, Event(181.0, "marker", "just now")))
        await until(pilot, lambda: "just now" in listed(pilot.app), "the new mark")
        await pilot.press("l")
        await until(pilot, lambda: not isinstance(pilot.app.screen, LogDialog), "the instrument")

    drive(feed, script, GENEROUS)


def test_on_a_narrow_screen_nothing_is_cut_that_can_be_said_shorter():
    feed = scenes.alerted()
    controller = Controller(feed)
    rows = [text_of(row).rstrip() for row in log_rows(controller.read_view(), 51)]
    targets = [text_of(row) for row in target_rows(feed.shown.targets, 51)]

    assert any(row.endswith("▲ hot      up to −17.0 LUFS") for row in rows)
    assert not any("…" in row for row in (*rows, *targets))
    assert targets[-1] == "  no route to host"
