"""Dialogue loudness on the screen: a row where there is room, and beside the other figures where not."""

from dataclasses import replace

import pytest
import scripted_feed as scenes

from sidecar.model.dialogue import DialogueLoudness
from tui.drawing.figures import figures
from tui.drawing.panels.figures import dialogue_row, figures_row
from tui.drawing.view import View
from tui.layout import plan


def view(**changes):
    feed = scenes.spoken()
    feed.change(**changes)
    return View(feed.shown, feed.history_shown)


def text(row):
    return "".join(part for part, _ in row).rstrip()


def ink(row, words):
    return next(tone for part, tone in row if words in part)


def beside(of, width, **more):
    return figures_row(of, width, has_range_row=True, has_correlation_row=True, **more)


def test_the_row_has_figures_guides_share_and_automatic_detection():
    row = dialogue_row(view(), 120)

    assert text(row) == (
        " Dialogue ◁ −28.4 LUFS LDR ▷ 5.8 LU (guide −28 to −23, LDR to 5)  in 55 % of the time  "
        "automatic, confidence 93 %"
    )
    assert (ink(row, "−28.4"), ink(row, "5.8")) == ("under bold", "over bold")


@pytest.mark.parametrize(
    ("width", "kept", "left_out"),
    [
        (100, "confidence 93 %", "guide"),
        (70, "in 55 % of the time", "automatic"),
        (40, "LDR ▷ 5.8 LU", "55 %"),
    ],
)
def test_a_narrow_row_keeps_what_matters_most(width, kept, left_out):
    row = text(dialogue_row(view(), width))

    assert kept in row
    assert left_out not in row


def test_without_guides_no_side_is_shown():
    row = dialogue_row(view(goal=scenes.BROADCAST), 120)

    assert text(row).startswith(" Dialogue −28.4 LUFS LDR 5.8 LU  in 55 %")
    assert ink(row, "−28.4") == ink(row, "5.8") == "dim"


def test_it_is_said_that_dialogue_is_marked_now_and_that_there_is_too_little():
    marked = DialogueLoudness("markers", speech_s=2.0, seconds=60.0)
    row = text(dialogue_row(view(dialogue=marked, is_dialogue_marked=True), 120))

    assert row.startswith(" Dialogue, marked now −−.− (under 5 s of it)")
    assert row.endswith("marked by hand")


def test_it_stands_with_the_other_figures_where_it_has_no_row():
    assert "Dialogue ◁ −28.4 LUFS" in text(beside(view(), 80))
    assert "Dialogue" not in text(beside(view(), 80, has_dialogue_row=True))
    assert "Dialogue" not in text(beside(view(dialogue=None), 80))


@pytest.mark.parametrize(("rows", "has_row"), [(23, False), (24, True)])
def test_a_tall_screen_has_a_row_for_it_where_it_is_measured(rows, has_row):
    assert plan(rows, 2, width=120, dialogue=1).parts.has_dialogue == has_row
    assert not plan(rows, 2, width=120).parts.has_dialogue


def test_copied_figures_have_it():
    snapshot = view().snapshot

    assert "dialogue −28.4 LUFS (under the guide −28 to −23), LDR 5.8 LU" in figures(snapshot)
    assert "dialogue" not in figures(replace(snapshot, dialogue=None))
