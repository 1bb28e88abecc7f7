"""The reserved row, automatic moves and the earlier pass."""

import math
from dataclasses import replace

import pytest
import scripted_feed as scenes

from sidecar.model.snapshot import ArmState, EarlierPass, Target
from tui import texts
from tui.controller import Controller
from tui.drawing.cells import text_of
from tui.drawing.panels.standing import rows_wanted, standing_rows


def _view(feed, *, news=False):
    return replace(Controller(feed).read_view(), arm_is_news=news)


def _lines(view, width=80, height=None):
    height = rows_wanted(view, 24) if height is None else height
    return [text_of(row).rstrip() for row in standing_rows(view, width, height)]


def test_not_armed_is_said_with_word_and_shape():
    """With the surface, what was said last, and the earlier pass under it."""
    assert _lines(_view(scenes.unarmed())) == [
        " ▢ not armed  studio desk                          this pass, next look in 12 s",
        " Disarmed by you.",
        " earlier pass mix.wav fits (1.2 s in, 0.4 dB)",
    ]


@pytest.mark.parametrize("width", [40, 60, 80, 120])
@pytest.mark.parametrize("news", [True, False])
def test_while_armed_how_to_stop_it_is_never_cut(width, news):
    """The caution was read before arming; what is needed now fits at every width."""
    state, how, *_ = _lines(_view(scenes.armed(), news=news), width)

    assert state.startswith(" ▣ ARMED")
    assert "x disarms." in how
    assert not how.endswith("…")


@pytest.mark.parametrize("width", [40, 80])
def test_waiting_for_the_fader_is_neither_armed_nor_not(width):
    state, how, *_ = _lines(_view(scenes.arming(), news=True), width)

    assert state.startswith(" ▢ waiting")
    assert "Touch the fader once" in how
    assert "x cancels." in how


def test_what_the_run_says_besides_is_shown_while_it_is_new():
    feed = scenes.armed()
    feed.change(arm=ArmState("studio desk", True, "Only to −1.0 dB: one step raises by 3.0 dB at most."))

    assert _lines(_view(feed, news=True))[1] == " Only to −1.0 dB: one step raises by 3.0 dB at most."
    assert _lines(_view(feed))[1].endswith("x disarms.")


def test_every_state_of_a_run_asks_for_the_same_rows():
    """Arming and cautions have their row from the first look on: nothing below jumps."""
    by_hand = {rows_wanted(_view(scene()), 24) for scene in (scenes.down, scenes.up, scenes.lit)}
    armed = {
        rows_wanted(_view(scene(), news=True), 24) for scene in (scenes.unarmed, scenes.arming, scenes.armed)
    }

    assert (by_hand, armed) == ({1}, {3})


def test_a_table_of_stems_on_a_low_screen_takes_the_row():
    feed = scenes.stems()
    heights = [rows_wanted(_view(feed), height) for height in (24, 40)]
    feed.change(arm=ArmState("studio desk", True, ""))

    assert heights == [0, 1]
    assert rows_wanted(_view(feed), 24) == 2


def test_the_next_look_counts_down_and_says_where_it_heads():
    assert _lines(_view(scenes.hold()))[0].endswith("this pass, next look in 14 s ↘")
    assert _lines(_view(scenes.down()))[0].endswith("this pass, next look in 12 s")
    assert _lines(_view(scenes.up()))[0].endswith("next look in 14 s")


def test_a_rise_carries_its_caution():
    """Louder can hurt ears and loudspeakers; quieter cannot."""
    assert texts.LOUDER in _lines(_view(scenes.up()))[0]
    assert texts.LOUDER not in _lines(_view(scenes.down()))[0]


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_while_a_light_runs_its_caution_is_on_the_screen(width):
    assert "✶ light" in _lines(_view(scenes.lit()), width)[0]


def test_light_armed_and_louder_all_find_room_at_80_columns():
    feed = scenes.lit()
    feed.change(controls_fader=False, arm=ArmState("studio desk", True, ""))
    line = _lines(_view(feed))[0]

    assert all(part in line for part in ("▣ ARMED", "✶ light", "▲ monitors down", "14 s"))


def test_how_much_the_moves_widened_the_range_is_told():
    assert _lines(_view(scenes.first_step()))[0].startswith(" moves so far widened the range by 0.8 LU ")
    assert "range" not in _lines(_view(scenes.down()))[0]


def _over(*, kind="live", gain_db=-2.1, **changes):
    """A pass that failed."""
    feed = scenes.failed()
    move = replace(feed.shown.advice.from_top, gain_db=gain_db)
    feed.change(advice=replace(feed.shown.advice, from_top=move), **changes)
    return Controller(feed, kind=kind).read_view()


def test_after_the_end_the_fader_for_the_next_pass_is_named():
    assert _lines(_over()) == [" set the fader to −5.6 dB for the next pass"]
    assert _lines(_over(gain_db=1.5)) == [" set the fader to −2.0 dB for the next pass, monitors down first"]
    assert _lines(_over(gain_db=1.5), 45) == [" next pass: fader −2.0 dB, monitors down first"[:45]]


def test_where_a_key_takes_the_fader_there_it_is_named():
    still_open = _over(transport="measuring")
    by_hand = _over(transport="measuring", controls_fader=False)

    assert _lines(_over(kind="rehearsal")) == [" f plays it again with the fader at −5.6 dB"]
    assert _lines(still_open) == [" f moves the fader to −5.6 dB for the next pass"]
    assert _lines(by_hand) == [" set the fader to −5.6 dB for the next pass"]


def test_a_pass_that_passes_asks_for_no_other_fader():
    assert _lines(_view(scenes.passed())) == [""]


@pytest.mark.parametrize(
    ("earlier", "line"),
    [
        (EarlierPass("mix.wav", True, 1.2, 0.4), " earlier pass mix.wav fits (1.2 s in, 0.4 dB)"),
        (
            EarlierPass("mix.wav", False, 0.0, 5.1),
            " earlier pass mix.wav does not fit: forecast from this pass only",
        ),
        (EarlierPass("mix.wav", False, 0.0, math.inf), " earlier pass mix.wav: finding its place…"),
        (
            EarlierPass("a very long name of a very long file.wav", False, 0.0, 5.1),
            " earlier pass a very long name of a… does not fit: forecast from this pass only",
        ),
    ],
)
def test_the_earlier_pass_is_one_quiet_line(earlier, line):
    """Whether it fits, where and how well, or what the forecast is made from instead."""
    feed = scenes.down()
    feed.change(earlier_pass=earlier)

    assert _lines(_view(feed))[1] == line


@pytest.mark.parametrize("width", [1, 12, 25, 40, 80, 200])
def test_every_row_has_the_width_of_the_panel(width):
    """Whatever the size and the surface's name, nothing sticks out."""
    feed = scenes.crowded()
    lights = (Target("lamp=127.0.0.1:7700", is_light=True),)
    feed.change(arm=ArmState("a surface with a name of its own", True, scenes.CAUTION), targets=lights)
    rows = standing_rows(_view(feed, news=True), width, 6)

    assert [width] * 6 == [len(text_of(row)) for row in rows]


@pytest.mark.parametrize("news", [True, False])
def test_an_armed_fader_without_a_sentence_keeps_how_to_stop_it(news):
    """When a sentence is withdrawn its row is not left empty."""
    feed = scenes.armed()
    feed.change(arm=ArmState("studio desk", True, ""))

    assert _lines(_view(feed, news=news))[1].endswith("x disarms.")
