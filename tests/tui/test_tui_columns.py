"""The history reduced to a column a cell, against a slow and obvious reduction."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scripted_feed import wandering_history

from sidecar.model.snapshot import Timeline
from tui.drawing.columns import Reducer, columns_with_dialogue, window


def _obvious(history, shown):
    """Lowest, highest and last of each column, one sample at a time."""
    found = [[math.nan] * shown.count for _ in range(3)]
    for seconds, short_term, integrated in zip(
        history.seconds.tolist(), history.short_term.tolist(), history.integrated.tolist(), strict=True
    ):
        x = shown.column(seconds)
        if 0 <= x < shown.count:
            found[0][x] = short_term if math.isnan(found[0][x]) else min(found[0][x], short_term)
            found[1][x] = short_term if math.isnan(found[1][x]) else max(found[1][x], short_term)
            found[2][x] = integrated
    return np.array(found, np.float32)


def _upto(history, samples):
    return Timeline(
        history.seconds[:samples],
        history.short_term[:samples],
        history.integrated[:samples],
        history.fader_db,
    )


def _stacked(columns):
    return np.stack((columns.low, columns.high, columns.integrated))


@pytest.mark.parametrize("zoom_s", [30.0, 60.0, None])
@pytest.mark.parametrize("duration_s", [None, 100.0])
def test_a_growing_history_is_reduced_as_if_anew(zoom_s, duration_s):
    """What is kept between two drawings never differs from a fresh reduction."""
    history, reducer = wandering_history(100.0), Reducer()
    for samples in (*range(1, 60, 7), 300, 301, 640, 999, 1000):
        sofar = _upto(history, samples)
        shown = window(float(sofar.seconds[-1]), duration_s, zoom_s, 73)

        np.testing.assert_array_equal(_stacked(reducer.columns(sofar, shown)), _obvious(sofar, shown))


def test_after_a_reset_nothing_of_the_old_history_is_left():
    """Even if the new history has already outgrown the old one when it is first seen."""
    old, new, reducer = wandering_history(50.0, -20.0), wandering_history(80.0, -30.0), Reducer()
    shown = window(80.0, 300.0, None, 73)
    reducer.columns(old, shown)

    np.testing.assert_array_equal(_stacked(reducer.columns(new, shown)), _obvious(new, shown))


def test_an_empty_history_is_empty_columns():
    """Before the first sample there is nothing, and that is no error."""
    columns = Reducer().columns(wandering_history(0.0), window(0.0, None, None, 40))

    assert int(np.isnan(columns.high).sum()) == 40


def test_only_the_newest_column_is_reckoned_again():
    """The cost of a drawing does not grow with the programme: finished columns are not read again."""
    history, reducer = wandering_history(100.0), Reducer()
    shown = window(100.0, 100.0, None, 50)
    reducer.columns(history, shown)
    spoiled = history.short_term.copy()
    spoiled[: len(spoiled) // 2] = 99.0
    again = reducer.columns(Timeline(history.seconds, spoiled, history.integrated, history.fader_db), shown)

    assert float(np.nanmax(again.high)) < 0.0


def test_the_whole_is_drawn_against_the_known_length():
    """With the length known the forecast has its place from the start."""
    shown = window(10.0, 300.0, None, 100)

    assert (shown.start_s, pytest.approx(shown.end_s)) == (0.0, 300.0)


@pytest.mark.parametrize(
    ("now_s", "end_s"), [(5.0, 60.0), (61.0, 120.0), (3601.0, 7200.0), (86_400.0, 86_400.0)]
)
def test_without_a_length_the_whole_grows_in_steps(now_s, end_s):
    """The picture stays for long and then halves, it does not creep."""
    assert end_s == pytest.approx(window(now_s, None, None, 100).end_s)


def test_a_zoomed_window_moves_by_whole_columns():
    """Its columns lie on one grid of programme time, so what is drawn does not shimmer."""
    starts = {window(now / 10.0, None, 30.0, 60).start_s % 0.5 for now in range(400, 500)}

    assert starts == {0.0}


def test_a_zoomed_window_leaves_room_for_what_comes():
    """While the end is ahead, a fifth of the window belongs to the forecast."""
    assert window(100.0, 300.0, 30.0, 100).column(100.0) + 1 == 80
    assert window(100.0, None, 30.0, 100).column(100.0) + 1 == 100


def test_columns_are_never_finer_than_the_history():
    """A very wide screen shows more time rather than empty columns: the grid is 0.1 s."""
    assert window(500.0, None, 30.0, 1000).width_s == 0.1


def test_a_column_has_dialogue_where_half_of_it_has():
    """Columns of 1 s; a detector has not come to the end yet."""
    history = wandering_history(60.0)
    flags = np.zeros(420, np.bool_)
    flags[50:105] = flags[200:204] = flags[415:420] = True
    spoken = replace(history, dialogue=flags)

    assert columns_with_dialogue(history, window(60.0, 60.0, None, 60)) == []
    assert columns_with_dialogue(spoken, window(60.0, 60.0, None, 60)) == [5, 6, 7, 8, 9, 10, 41]
