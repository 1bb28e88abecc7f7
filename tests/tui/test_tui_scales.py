"""All measures under one another."""

from dataclasses import replace

import pytest
import scripted_feed as scenes

from sidecar.meter import layouts
from tui.controller import Controller
from tui.drawing.cells import text_of
from tui.drawing.channels import channel_names
from tui.drawing.panels.overs import short_term_line
from tui.drawing.panels.scales import momentary_line, scales


def _lines(feed, width=80, height=7, *, relative=False, **layout):
    controller = Controller(feed)
    if relative:
        controller.switch_unit()
    return [text_of(row).rstrip() for row in scales(controller.read_view(), width, height, **layout)]


def test_the_seven_rows_at_80_columns():
    """The measures as the smallest full screen shows them."""
    expected = [
        "              −18 −9     −3     −1   goal   +1     +3     +9  +18 ◁under over▷",
        " Landing      ──────────────────────▒▒◇▒▒──────────────────────── ◇ −23.1 LUFS",
        " Integrated   ────────────────────────░██████▷─────────────────── ▷ −22.1 LUFS",
        " Short-term   ─────────░░░░░░░░░░░░░░░░██████◇░░░░░░░░░░╂──────── ◇ −22.0 LUFS",
        " Momentary    ─────────░░░░░░░░░░░░░░░░███████████◇░░░░░──╂────── ◇ −20.8 LUFS",
        " True peak    ──────────────L─R╌╌╌╌╌╌╌╌△─────────────────────────    1.8 dB free",
        " Range        6.2 LU (guide 15)  max M −15.0 S −17.0  TP L −3.2 R −2.8 dBTP",
    ]

    assert _lines(scenes.down()) == expected


def test_in_lu_every_number_is_an_offset():
    """EBU Tech 3341 §2.7 and §2.8: both scales, the unit beside each number."""
    lines = _lines(scenes.down(), relative=True)

    assert [line[-7:] for line in lines[1:5]] == ["−0.1 LU", "+0.9 LU", "+1.0 LU", "+2.2 LU"]


@pytest.mark.parametrize(("width", "height"), [(80, 7), (120, 12), (30, 3), (5, 1), (200, 30)])
def test_every_row_has_the_width_of_the_panel(width, height):
    """Whatever the size, nothing sticks out and nothing is missing."""
    rows = scales(Controller(scenes.alerted()).read_view(), width, height, thickness=2, peak_rows=2)

    assert [width] * height == [len(text_of(row)) for row in rows]


def test_the_range_is_flagged_in_its_first_minute():
    """EBU Tech 3341 §2.4: the first 60 s are flagged as not yet stable."""
    assert "6.2 LU (settling, guide 15)" in _lines(scenes.listening())[-1]
    assert "settling" not in _lines(scenes.down())[-1]


def test_another_target_is_not_ebu_mode():
    """EBU Tech 3341 §2: the meter has to say so."""
    assert _lines(scenes.up())[0].startswith(" not EBU Mode")
    assert "EBU" not in _lines(scenes.down())[0]


def test_a_peak_over_the_ceiling_is_said_in_words():
    """Never by colour alone."""
    assert _lines(scenes.alerted())[5].endswith("△  0.6 dB OVER")


def test_tall_screens_give_each_channel_its_row():
    """Names of the layout, each with its own headroom and level."""
    lines = _lines(scenes.surround(), 120, 16, thickness=2, peak_rows=6)
    peaks = [line for line in lines if line.startswith(" Peak")]

    assert [line[1:12].strip() for line in peaks] == [
        "Peak L",
        "Peak R",
        "Peak C",
        "Peak LFE",
        "Peak Ls",
        "Peak Rs",
    ]
    assert peaks[2].endswith(" 1.2 dB free  −2.2 dBTP")


def test_between_the_sizes_no_figure_is_lost_or_cut():
    """At 100 columns each channel has its row but not its level: the figures' row tells it, in full."""
    feed = scenes.down()
    feed.change(reading=replace(feed.shown.reading, range_is_stable=False))

    assert (
        (_lines(feed, 100, 8, peak_rows=2)[-1])
        == " Range        6.2 LU (settling, guide 15)  max M −15.0 S −17.0  TP L −3.2 R −2.8 dBTP"
    )


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
