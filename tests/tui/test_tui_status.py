"""The quiet lines around the instrument."""

from dataclasses import replace

import pytest
import scripted_feed as scenes

from sidecar.model.readings import ALERT_NAMES, Alert
from sidecar.model.snapshot import Event, Target
from tui.controller import Controller
from tui.drawing.cells import text_of
from tui.drawing.panels.events import sign
from tui.drawing.panels.status import alerts_row, heading, outlets


def _view(feed, *, half_blocks=True):
    controller = Controller(feed, half_blocks=half_blocks)
    controller.time_of_day = lambda: "20:15:07"
    return controller.read_view()


def _silent():
    """It was silent for a while, and every other alert is off."""
    feed = scenes.down()
    feed.change(
        alerts=tuple(Alert(name, "latched" if name == "silent" else "off", 3.0) for name in ALERT_NAMES)
    )
    return feed


def test_the_heading_says_state_time_goal_and_source():
    """All of it at 120 columns."""
    line = text_of(heading(_view(scenes.down()), 120))

    assert line.startswith(" ● measuring  3:04 of 5:00, 1:56 left  Production master −23.0 LUFS ")
    assert line.endswith(" rehearsal 48 kHz stereo  20:15:07 ")


@pytest.mark.parametrize(
    ("width", "kept"), [(80, "3:04, 1:56 left"), (60, "3:04, 1:56 left"), (40, "  1:56 left")]
)
def test_what_is_left_and_the_target_are_in_the_smallest_heading(width, kept):
    line = text_of(heading(_view(scenes.down()), width))

    assert kept in line
    assert "−23.0 LUFS" in line
    assert line.endswith(" 20:15:07 ") == (width >= 60)


def test_the_answer_to_a_key_takes_the_end_of_the_heading_and_covers_no_alert():
    view = replace(_view(scenes.down()), answer="Figures sent to the clipboard.")

    assert text_of(heading(view, 80)).startswith(" ● measuring  3:04, 1:56 left ")
    assert text_of(heading(view, 80)).endswith(" Figures sent to the clipboard. ")
    assert text_of(heading(view, 40)).strip() == view.answer


def test_after_the_end_and_without_a_length_nothing_is_left():
    feed = scenes.down()
    feed.change(transport="ended")

    assert "left" not in text_of(heading(_view(feed), 120))
    assert "left" not in text_of(heading(_view(scenes.up()), 120))


def test_a_timecode_of_the_source_runs_beside_the_time_of_day():
    feed = scenes.down()
    feed.change(timecode_start_s=86_340.0)

    assert text_of(heading(_view(feed), 120)).endswith(" TC 00:02:04  20:15:07 ")


def test_a_narrow_heading_has_the_goals_name_for_its_title_and_keeps_the_target():
    """A title cut off looks like any other; the name is whole, and the number is what the scales refer to."""
    assert "  production −23.0 LUFS " in text_of(heading(_view(scenes.down()), 80))


def test_a_pass_that_is_over_says_nothing_of_osc():
    feed = scenes.down()
    feed.change(transport="ended", alerts=(), targets=())

    assert not any("OSC" in text_of(row) for height in (1, 2) for row in outlets(_view(feed), 80, height))


@pytest.mark.parametrize(
    ("transport", "word"),
    [
        ("preparing", "… preparing"),
        ("waiting", "○ waiting"),
        ("ready", "○ ready"),
        ("paused", "‖ paused"),
        ("ended", "■ ended"),
    ],
)
def test_each_state_has_word_and_shape(transport, word):
    """Never by colour alone."""
    feed = scenes.down()
    feed.change(transport=transport)

    assert word in text_of(heading(_view(feed), 80))


def test_without_alerts_no_alert_is_named():
    """Five words that are all off read as a list of what is on."""
    assert text_of(alerts_row(_view(scenes.down()), 80)).strip() == "◇ no alerts"


def test_a_pass_that_failed_is_not_called_free_of_alerts():
    assert text_of(alerts_row(_view(scenes.failed()), 80)).strip() == ""


def test_quiet_alerts_keep_their_places_beside_one_that_is_not():
    line = text_of(alerts_row(_view(_silent()), 80)).rstrip()

    assert line == "  △ ceiling   ▷ over   ▲ hot   ╳ lost   ○ silent was 3.0 s"


def test_an_alert_says_value_and_limit():
    """Word, shape, what was measured and against what; what was lost is at the edge."""
    line = text_of(alerts_row(_view(scenes.alerted()), 120))

    assert "△ TRUE PEAK TOO HIGH: −0.4 dBTP, limit −1.0" in line
    assert "▲ hot was −17.2 LUFS" in line
    assert line.endswith("╳ 4 800 dropped ")


def test_a_narrow_screen_drops_quiet_alerts_before_values():
    """What is on stays complete as long as it fits."""
    line = text_of(alerts_row(_view(scenes.alerted()), 80))

    assert "△ CEILING −0.4 dBTP" in line
    assert "silent" not in line


def test_all_alerts_at_once_still_show_their_words_at_80_columns():
    """The worst moment is the one that must be readable."""
    feed = scenes.down()
    feed.change(alerts=tuple(Alert(name, "on", -1.0, -2.0) for name in ALERT_NAMES))
    line = text_of(alerts_row(_view(feed), 80))

    assert all(name.upper() in line for name in ALERT_NAMES)


def test_on_is_reversed_and_held_is_not():
    """A held alert is past: it asks to be acknowledged and no longer shouts."""
    tones = {text.split()[1]: tone for text, tone in alerts_row(_view(scenes.alerted()), 80) if text.split()}

    assert tones["CEILING"] == "paper on ceiling bold"
    assert tones["hot"] == "over on latched"


def test_bad_samples_are_said():
    """Samples that were measured as silence must not hide in the result."""
    feed = scenes.down()
    feed.change(reading=replace(feed.shown.reading, bad_samples=12))

    assert "╳ 12 bad samples" in text_of(alerts_row(_view(feed), 80))


def test_hot_says_its_peak_once_it_falls():
    """The level of now would read as if the alert were wrong: it is under the limit already."""
    feed = scenes.down()
    hot = tuple(Alert(name, "on" if name == "hot" else "off", -17.2, -18.0) for name in ALERT_NAMES)
    rows = {}
    for short_term in (-17.2, -18.6):
        feed.change(alerts=hot, reading=replace(feed.shown.reading, short_term=short_term))
        rows[short_term] = text_of(alerts_row(_view(feed), 120))

    assert "HOT peaked at −17.2, limit −18.0" in rows[-18.6]
    assert "peaked" not in rows[-17.2]


def test_each_alert_has_one_shape_wherever_it_is_shown():
    row = text_of(alerts_row(_view(_silent()), 80)).lower().split()[:10]
    shapes = dict(zip(row[1::2], row[::2], strict=True))

    assert shapes == {name: sign(Event(0.0, "alert", name))[0] for name in ALERT_NAMES}
    assert len(set(shapes.values())) == len(ALERT_NAMES)


def test_in_ascii_each_alert_has_its_letter():
    row = text_of(alerts_row(_view(_silent(), half_blocks=False), 80)).split()[:10]

    assert row == ["C", "ceiling", "O", "over", "H", "hot", "L", "lost", "S", "silent"]


@pytest.mark.parametrize(("scene", "words"), [(scenes.down, "no alerts"), (scenes.alerted, "ceiling")])
def test_on_the_narrowest_screen_the_alerts_are_there_in_words(scene, words):
    row = text_of(alerts_row(_view(scene()), 40))

    assert words in row.lower()
    assert "was" not in row


def test_an_alert_that_is_on_keeps_its_value_before_one_that_was():
    row = text_of(alerts_row(_view(scenes.alerted()), 60))

    assert "△ CEILING −0.4 dBTP" in row
    assert "▲ hot " in row
    assert "╳ 4 800 dropped" in row


def test_what_is_lost_gives_way_before_an_alert_is_cut():
    row = text_of(alerts_row(_view(scenes.alerted()), 40, has_notice=True))

    assert row == "△CEILING ▲hot           ╳ 4 800 dropped "


def test_an_alert_back_at_its_limit_says_no_limit_that_its_value_keeps():
    feed = scenes.down()
    feed.change(alerts=(Alert("over", "on", -22.78, -22.8),))

    assert text_of(alerts_row(_view(feed), 80)).strip() == "▷ OVER −22.8 LUFS"


def test_a_target_that_fails_leaves_room_for_the_notice():
    row = text_of(outlets(_view(scenes.alerted()), 60, 1)[0])

    assert row.endswith(" ╳ OSC 14 failed ")
    assert row.startswith(" the device lost 4800 frames at 2:00 and…")


def test_without_a_row_of_its_own_a_notice_takes_that_of_quiet_alerts():
    feed = scenes.alerted()
    loud = text_of(alerts_row(_view(feed), 60, has_notice=True))
    feed.change(alerts=scenes.QUIET_ALERTS)
    calm = text_of(alerts_row(_view(feed), 60, has_notice=True))
    refused = replace(_view(scenes.alerted()), fault="it was refused")

    assert "CEILING" in loud
    assert "╳ OSC 14 failed" in loud
    assert calm.startswith(" the device lost")
    assert text_of(alerts_row(refused, 60, has_notice=True)).startswith(" it was refused")


def test_nothing_is_said_of_osc_while_all_is_sent():
    assert text_of(outlets(_view(scenes.down()), 80, 1)[0]).strip() == ""


def test_what_fails_is_named_with_its_reason_beside_the_notice():
    (row,) = outlets(_view(scenes.alerted()), 120, 1)

    assert text_of(row).startswith(" the device lost 4800 frames at 2:00 and came back ")
    assert "╳ OSC lights.local:7700 14 failed: no route" in text_of(row)


def test_screens_elsewhere_are_counted_and_not_named():
    feed = scenes.down()
    screens = tuple(Target(f"192.168.1.{n}:50123", sent=n, is_screen=True) for n in range(3))
    feed.change(targets=(*feed.shown.targets, *screens))

    assert text_of(outlets(_view(feed), 80, 1)[0]).strip() == "3 screens"


def test_no_target_is_said():
    """OSC that goes nowhere is a setting to see, not a blank."""
    feed = scenes.down()
    feed.change(targets=())

    assert "OSC off" in text_of(outlets(_view(feed), 80, 1)[0])


def test_a_notice_is_worth_more_than_that_osc_goes_nowhere():
    """At 80 columns a sentence is not cut off for it."""
    feed = scenes.down()
    sentence = "no answer from 192.168.100.20:9139 for 12 s: does it run, and is it allowed?"
    feed.change(targets=(), notice=sentence)

    assert sentence == text_of(outlets(_view(feed), 80, 1)[0]).strip()


def test_what_is_said_large_is_not_said_twice():
    """While the meter is made ready the reason for waiting is where the move will be."""
    feed = scenes.down()
    feed.change(transport="preparing", notice="Preparing the meter.")

    assert "Preparing" not in text_of(outlets(_view(feed), 120, 2)[1])


def test_a_fault_of_the_screen_takes_the_notice_line():
    """What went wrong here is more urgent than what the run had to say."""
    view = replace(_view(scenes.alerted()), fault="scales cannot be drawn: no")

    assert text_of(outlets(view, 120, 1)[0]).startswith(" scales cannot be drawn: no")
