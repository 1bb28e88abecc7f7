"""The passes on record beside this one."""

import pytest
import scripted_feed as scenes

from sidecar.model.readings import SILENCE
from sidecar.model.snapshot import PastPass
from tui.controller import Controller, offers
from tui.drawing.cells import text_of
from tui.drawing.panels.passes import pass_rows

PASSES = (
    PastPass(12, "2026-03-02 09:30", "evening mix.wav", "production", 184.0, -23.4, 6.4, -2.2),
    PastPass(11, "2026-03-01 20:15", "evening mix.wav", "production", 181.0, -24.9, 7.0, -3.0),
    PastPass(10, "2026-03-01 19:00", "nothing yet", "production", 4.0, SILENCE, 0.0, SILENCE),
)


def _rows(passes, width=92):
    feed = scenes.down()
    feed.change(passes=passes)
    return [text_of(row).split() for row in pass_rows(Controller(feed).read_view(), width)]


def test_each_pass_is_listed_with_its_difference_to_the_one_before():
    head, now, last, before, first = _rows(PASSES)

    assert head == ["began", "source", "length", "integrated", "differs", "by", "range", "peak"]
    assert now == ["this", "pass", "rehearsal", "3:04", "−22.1", "+1.3", "LU", "6.2", "LU", "−2.8"]
    assert last[-7:] == ["3:04", "−23.4", "+1.5", "LU", "6.4", "LU", "−2.2"]
    assert before[-5:] == ["3:01", "−24.9", "7.0", "LU", "−3.0"]
    assert first[-5:] == ["0:04", "−−.−", "0.0", "LU", "−−.−"]


@pytest.mark.parametrize("width", [40, 62, 68, 92])
def test_no_figure_is_cut_off(width):
    rows = _rows(PASSES, width)

    assert all(
        row[-1] == peak for row, peak in zip(rows, ["peak", "−2.8", "−2.2", "−3.0", "−−.−"], strict=True)
    )


def test_the_list_is_offered_once_there_is_one():
    feed = scenes.down()
    before = "passes" in offers(feed.shown)
    feed.change(passes=PASSES)

    assert (before, "passes" in offers(feed.shown)) == (False, True)
