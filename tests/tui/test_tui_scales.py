"""All measures under one another."""

from dataclasses import replace

import pytest
import scripted_feed as scenes

from sidecar.meter import layouts
from sidecar.model.readings import SILENCE
from tui.controller import Controller
from tui.drawing.cells import text_of
from tui.drawing.channels import channel_names
from tui.drawing.panels.distribution import Distribution
from tui.drawing.panels.overs import short_term_line
from tui.drawing.panels.scales import Rows, momentary_line, scales


def _lines(feed, width=80, height=7, *, relative=False, **rows):
    controller = Controller(feed)
    if relative:
        controller.switch_unit()
    return [
        text_of(row).rstrip()
        for row in scales(controller.read_view(), width, height, Rows(**rows), Distribution())
    ]


def test_the_seven_rows_at_80_columns():
    """The measures as the smallest full screen shows them."""
    expected = [
        "              −18 ╷ ╷ ╷ −3  ╷ −1   goal ╷ +1  ╷ +3  ╷  +9 +18 ◁under over▷",
        " This landing ────────────────────▒▒◇▒▒────────────────────── ◇ −23.1 LUFS",
        " Integrated   ──────────────────────░█████▷────────────────── ▷ −22.1 LUFS",
        " Short-term   ────────░░░░░░░░░░░░░░░██████◇░░░░░░░░░╂─────── ◇ −22.0 LUFS",
        " Momentary    ────────░░░░░░░░░░░░░░░██████████◇░░░░░──╂───── ◇ −20.8 LUFS",
        " True peak    ██████▄▄▄────LR────────△───────────────────────    1.8 dB headroom",
        " Range 6.2 LU (guide 15)  PLR 19.3 PSR 17.1  max M −15.0 S −17.0  TP −2.8 dBTP",
    ]

    assert _lines(scenes.down()) == expected


def test_in_lu_every_number_is_an_offset():
    """EBU Tech 3341 §2.7 and §2.8: both scales, the unit beside each number."""
    lines = _lines(scenes.down(), relative=True)

    assert [line[-7:] for line in lines[1:5]] == ["−0.1 LU", "+0.9 LU", "+1.0 LU", "+2.2 LU"]


@pytest.mark.parametrize(("width", "height"), [(80, 7), (120, 12), (30, 3), (5, 1), (200, 30)])
def test_every_row_has_the_width_of_the_panel(width, height):
    """Whatever the size, nothing sticks out and nothing is missing."""
    parts = Rows(2, 2, has_distribution=True, has_correlation=True)
    rows = scales(Controller(scenes.alerted()).read_view(), width, height, parts, Distribution())

    assert [width] * height == [len(text_of(row)) for row in rows]


def test_the_range_is_flagged_in_its_first_minute():
    """EBU Tech 3341 §2.4: the first 60 s are flagged as not yet stable."""
    assert "6.2 LU (settling)" in _lines(scenes.listening())[-1]
    assert "settling" not in _lines(scenes.down())[-1]


def test_another_target_is_not_ebu_mode():
    """EBU Tech 3341 §2: the meter has to say so."""
    assert _lines(scenes.up())[0].startswith(" not EBU Mode")
    assert "EBU" not in _lines(scenes.down())[0]


def test_a_peak_over_the_ceiling_is_said_in_words():
    """Never by colour alone."""
    assert _lines(scenes.alerted())[5].endswith("△  0.6 dB above")


def test_tall_screens_give_each_channel_its_row():
    """Names of the layout, each with its own headroom and level."""
    lines = _lines(scenes.surround(), 120, 16, thickness=2, peaks=6)
    peaks = [line for line in lines if line.startswith(" Peak")]

    assert [line[1:12].strip() for line in peaks] == [
        "Peak L",
        "Peak R",
        "Peak C",
        "Peak LFE",
        "Peak Ls",
        "Peak Rs",
    ]
    assert peaks[2].endswith(" 1.2 dB headroom  −2.2 dBTP")
    assert peaks[3].endswith("11.0 dB headroom −12.0 dBTP")


def test_after_the_end_no_live_figure_is_shown():
    lines = _lines(scenes.failed(), 120, 16, thickness=2, peaks=2, has_correlation=True)

    assert [line.split()[-1] for line in lines if line.startswith(" Corr.")] == ["−−.−−"]


def test_a_settling_range_is_flagged_before_the_maxima_are_shown():
    feed = scenes.down()
    feed.change(reading=replace(feed.shown.reading, range_is_stable=False))

    assert _lines(feed, 60)[-1] == " Range 6.2 LU (settling)  PLR 19.3 PSR 17.1  TP −2.8 dBTP"


def test_below_the_absolute_gate_a_scale_is_empty_and_says_silent():
    feed = scenes.down()
    feed.change(reading=replace(feed.shown.reading, short_term=-70.1, momentary=-93.0))
    short_term, momentary = _lines(feed)[3:5]

    assert "█" not in short_term + momentary
    assert short_term.endswith("  silent")
    assert momentary.endswith("  silent")


def test_after_the_end_no_live_level_is_shown():
    feed = scenes.down()
    feed.change(transport="ended")
    lines = _lines(feed)

    assert [line.split()[-1] for line in lines[3:5]] == ["silent", "silent"]
    assert "█" not in lines[5]


def test_a_dead_channel_is_seen_beside_its_peak_mark():
    feed = scenes.down()
    live = replace(feed.shown.reading, channel_peak=(-9.5, -9.5))
    dead = replace(live, channel_peak=(-9.5, SILENCE))
    bars = {}
    for name, reading in (("live", live), ("dead", dead)):
        feed.change(reading=reading)
        bars[name] = _lines(feed)[5][14:20], [line[20:26] for line in _lines(feed, 120, 9, peaks=2)[5:7]]

    assert bars == {
        "live": ("██████", ["██████", "██████"]),
        "dead": ("▀▀▀▀▀▀", ["██████", "──────"]),
    }


def test_six_channels_in_one_row_have_a_block_each():
    assert _lines(scenes.surround())[5].startswith(" Peak ▇▇▇▄▆· ")


def test_a_channel_that_cancels_in_mono_is_warned_of():
    assert _lines(scenes.alerted(), 120)[-1].count("MONO −5.2 dB") == 1
    assert "MONO" not in _lines(scenes.down(), 120)[-1]
    assert "corr +0.62" in _lines(scenes.down(), 120)[-1]


def test_the_correlation_has_a_scale_of_its_own_on_tall_screens():
    line = next(
        line
        for line in _lines(scenes.alerted(), 120, 12, has_correlation=True)
        if line.startswith(" Corr. L/R")
    )

    assert line.endswith("  MONO −5.2 dB")
    assert line.index("█") < line.index("┼")


def test_peaks_since_their_own_reset_leave_the_highest_of_the_programme():
    feed = scenes.down()
    feed.change(reading=replace(feed.shown.reading, held_peak=(-11.0, -10.0)))
    lines = _lines(feed)

    assert lines[5].endswith("9.0 dB headroom")
    assert "TP −2.8 dBTP" in lines[6]


def test_wide_screens_put_the_maxima_beside_the_values():
    """EBU Tech 3341 §2.1: max M and max S can be shown."""
    lines = _lines(scenes.down(), 120, 7)

    assert lines[3].endswith("−22.0 LUFS  max −17.0")
    assert lines[4].endswith("−20.8 LUFS  max −15.0")


def test_short_term_is_over_where_the_alert_begins():
    """The screen and the alert "hot" never disagree; a document's own limit may be lower."""
    strict = replace(scenes.BROADCAST, max_short_term_lufs=-20.0, max_momentary_lufs=-15.0)

    assert (short_term_line(scenes.BROADCAST), momentary_line(scenes.BROADCAST)) == (-18.0, -18.0)
    assert (short_term_line(strict), momentary_line(strict)) == (-20.0, -15.0)


@pytest.mark.parametrize("layout", ["mono", "stereo", "5.0", "5.1", "7.1", "7.1.4", "L,R,Ls,Rs,C,LFE"])
def test_a_channel_is_called_the_same_on_the_screen_and_in_a_report(layout):
    """The screen does not load the meter, so it has the names again."""
    channels = layouts.layout_from(layout).channels

    assert list(layouts.channel_names(layout, channels)) == channel_names(layout, channels)


def test_an_unknown_layout_numbers_its_channels():
    """A name would be a guess."""
    assert channel_names("stereo", 2) == ["L", "R"]
    assert channel_names("custom", 3) == ["1", "2", "3"]
    assert channel_names("stereo", 1) == ["1"]
