"""One unit on the whole screen: LUFS, or LU from the goal (EBU Tech 3341 §2.7)."""

from dataclasses import replace

import pytest
import scripted_feed as scenes
from test_tui_status import _view

from sidecar.model.readings import ALERT_NAMES, Alert
from tui.drawing import wording
from tui.drawing.cells import text_of
from tui.drawing.panels.advice import advice
from tui.drawing.panels.hero import hero
from tui.drawing.panels.history import HistoryDrawing
from tui.drawing.panels.scales import Rows, scales
from tui.drawing.panels.standing import standing_rows
from tui.drawing.panels.status import alerts_row, outlets


def _rows_below_the_heading(view):
    """All panels but the heading, which names the goal that LU are counted from."""
    return [
        *hero(view, 120, 8),
        *standing_rows(view, 120, 3),
        *scales(view, 120, 12, Rows(has_dialogue=True)),
        *HistoryDrawing().rows(view, 120, 10),
        alerts_row(view, 120),
        *outlets(view, 120, 1),
    ]


@pytest.mark.parametrize("scene", [scene for scene in scenes.SCENES if scene not in ("playing", "long")])
def test_with_lu_chosen_no_figure_is_left_in_lufs(scene):
    feed = scenes.SCENES[scene]()
    loud = (Alert(name, state, -17.2, -18.0) for name, state in zip(ALERT_NAMES, _STATES, strict=True))
    feed.change(alerts=tuple(loud), notice=f"The mix so far lies at −22.0 {feed.shown.goal.unit}.")
    view = replace(_view(feed), relative=True)
    said = "\n".join(text_of(row) for row in _rows_below_the_heading(view))

    assert "LUFS" not in said
    assert "LKFS" not in said
    assert " LU" in said


_STATES = ("latched", "on", "on", "off", "off")


def test_a_sentence_of_the_run_is_written_from_the_goal():
    said = "This pass heads for −21.6 LUFS; too little to move for."
    gate = "Nothing is above the gate at −70 LUFS."

    assert wording.in_unit(said, scenes.BROADCAST, relative=False) == said
    assert wording.in_unit(said, scenes.BROADCAST, relative=True) == (
        "This pass heads for +1.4 LU; too little to move for."
    )
    assert wording.in_unit(gate, scenes.BROADCAST, relative=True) == gate


def test_the_verdict_and_its_limits_are_in_the_chosen_unit():
    told = advice(scenes.failed().shown, relative=True).verdict

    assert told == (
        "integrated +2.1: 1.9 LU over the limit +0.2 LU",
        "true peak −0.4: 0.6 dB over the limit −1.0 dBTP",
    )


def test_an_alert_has_value_and_limit_in_the_chosen_unit():
    feed = scenes.down()
    feed.change(alerts=(Alert("over", "on", -22.0, -22.8),))
    view = replace(_view(feed), relative=True)

    assert text_of(alerts_row(view, 80)).strip() == "▷ TOO LOUD: integrated +1.0 LU, limit +0.2 LU"
    assert text_of(alerts_row(view, 36)).strip() == "▷ OVER +1.0 LU, limit +0.2"
