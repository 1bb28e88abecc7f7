"""What hands change."""

import math

import pytest
import scripted_feed as scenes

from sidecar.model.commands import Nudge, Reset
from sidecar.model.readings import Reading
from sidecar.model.snapshot import ArmState, Snapshot
from tui.controller import Controller, offers, transport_verb


@pytest.mark.parametrize(
    ("transport", "seconds", "verb"),
    [
        ("preparing", 0.0, "start"),
        ("waiting", 0.0, "start"),
        ("waiting", 12.0, "pause"),
        ("measuring", 12.0, "pause"),
        ("paused", 12.0, "continue"),
        ("ended", 12.0, "start"),
    ],
)
def test_the_space_bar_does_what_the_state_allows(transport, seconds, verb):
    """EBU Tech 3341 §2.2: start, pause, continue; audio that stopped can still be paused."""
    snapshot = Snapshot(transport, scenes.BROADCAST, reading=Reading(seconds=seconds))

    assert verb == transport_verb(snapshot)


@pytest.mark.parametrize(
    ("scene", "expected"),
    [
        (scenes.down, {"pause", "follow", "move_fader"}),
        (scenes.stems, {"pause", "balance", "log_fader"}),
        (scenes.unarmed, {"pause", "arm"}),
        (scenes.arming, {"pause", "cancel"}),
        (scenes.armed, {"pause", "follow", "move_fader", "disarm"}),
        (scenes.riding, {"pause", "follow", "move_fader", "rides"}),
        (scenes.alerted, {"pause", "follow", "move_fader", "acknowledge"}),
    ],
)
def test_only_what_does_something_is_offered(scene, expected):
    """A fader is followed where it may be moved."""
    assert offers(scene().shown) == expected


def test_an_armed_hand_does_not_follow_a_stem():
    """The hand is on the master fader; the move that is shown is for another one."""
    feed = scenes.stems()
    feed.change(arm=ArmState("studio desk", True, ""))

    assert offers(feed.shown) == {"pause", "disarm", "move_fader", "balance"}


def test_what_the_hand_says_is_news_for_a_while():
    """Long enough to be read, and again when it says something else."""
    feed = scenes.armed()
    controller = Controller(feed)
    seen = [controller.read_view().arm_is_news for _ in range(300)]
    feed.change(arm=ArmState("studio desk", False, "Disarmed: no audio arrives."))

    assert (seen[0], seen[150], seen[-1]) == (True, True, False)
    assert controller.read_view().arm_is_news


def test_steps_of_the_fader_are_told_as_steps():
    """Three presses are three steps, whatever the run has made of the first by then."""
    feed = scenes.down()
    controller = Controller(feed)
    for change_db in (0.5, 0.5, -0.1):
        controller.nudge_fader(change_db)

    assert [Nudge(0.5), Nudge(0.5), Nudge(-0.1)] == feed.told


def test_a_fader_at_the_bottom_is_not_raised_from_here():
    """From minus infinity a step has no size; the sentence says what to do."""
    feed = scenes.down()
    feed.change(fader_db=-math.inf)
    controller = Controller(feed)
    controller.nudge_fader(0.5)

    assert feed.told == []
    assert "yourself" in controller.read_view().fault


def test_a_refusal_is_kept_until_a_command_is_taken():
    """What was not done is said, and not for longer than it is true."""
    feed = scenes.down()
    controller = Controller(feed)
    feed.refusal = "no receiver at 127.0.0.1:9100"
    controller.send_command(Reset())
    refused = controller.read_view().fault
    feed.refusal = None
    controller.send_command(Reset())

    assert refused == "no receiver at 127.0.0.1:9100"
    assert controller.read_view().fault == ""


def test_zoom_goes_from_half_a_minute_to_the_whole():
    """And stops at both ends."""
    controller = Controller(scenes.down())
    seen = [controller.read_view().zoom_s]
    for _ in range(8):
        controller.zoom(-1)
        seen.append(controller.read_view().zoom_s)
    controller.zoom(99)

    assert seen == [None, 120.0, 60.0, *[30.0] * 6]
    assert controller.read_view().zoom_s is None
