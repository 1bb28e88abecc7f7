"""What the screen says first."""

from dataclasses import replace

import pytest
import scripted_feed as scenes
from scripted_feed import BROADCAST

from sidecar.model.readings import Move
from sidecar.model.snapshot import Snapshot
from tui import texts
from tui.drawing.panels.advice import advice


def _said(**changes):
    return advice(Snapshot("measuring", BROADCAST, **changes), relative=False)


def test_a_move_down_says_how_far_and_where_it_lands():
    """Way, decibels, landing and how sure, in the order a hand needs them."""
    said = advice(scenes.down().shown, relative=False)

    assert (said.sign, said.word, said.amount, said.tone) == ("↓", "DOWN", "1.8", "over")
    assert (said.landing, said.likely) == ("lands at −23.1 LUFS", "likely −23.4 to −22.9")


def test_in_lu_the_landing_is_an_offset_from_the_goal():
    """The unit switches with the scale."""
    said = advice(scenes.down().shown, relative=True)

    assert (said.landing, said.likely) == ("lands at −0.1 LU", "likely −0.4 to +0.1")


def test_the_pass_that_plays_comes_before_the_next():
    """Advice for this pass wins while it can still be landed."""
    this, following = Move(-1.0, -23.0), Move(-2.0, -23.0)

    assert _both(_said(this_pass=this, next_pass=following)) == ("1.0", "this pass")
    assert _both(_said(next_pass=following)) == ("2.0", "next pass")


def test_an_ended_pass_is_past_landing():
    """Once it ended only the next pass can be mended."""
    snapshot = Snapshot("ended", BROADCAST, this_pass=Move(-1.0, -23.0), next_pass=Move(-2.0, -23.0))

    assert _both(advice(snapshot, relative=False)) == ("2.0", "next pass")


def test_for_the_pass_that_plays_band_and_limit_are_its_own():
    """What is said of this pass is never mixed with the next."""
    this = Move(-6.0, -22.4, -22.9, -21.8, "step", "−6.0 dB, then look again")
    said = _said(this_pass=this, next_pass=Move(-2.0, -23.0, -23.1, -22.9))

    assert (said.fader, said.scope) == ("master fader", "this pass")
    assert (said.landing, said.likely) == ("lands at −22.4 LUFS", "likely −22.9 to −21.8")
    assert (said.limit, said.reason) == ("held to one safe step", "−6.0 dB, then look again")


def _both(said):
    return said.amount, said.scope


def test_raising_gain_comes_with_a_caution():
    """Louder can hurt ears and loudspeakers; quieter cannot."""
    assert _said(next_pass=Move(0.5, -23.0)).caution == texts.LOUDER
    assert _said(next_pass=Move(-0.5, -23.0)).caution == ""


@pytest.mark.parametrize("limit", ["ceiling", "step", "range"])
def test_the_limit_that_bit_is_said(limit):
    """A move that was cut short never looks like the whole remedy."""
    assert texts.HELD[limit] == _said(next_pass=Move(1.0, -24.0, limited_by=limit)).limit


def test_a_move_that_a_limit_took_away_is_not_quiet():
    """Nothing can be moved, and the person hears what stands in the way."""
    said = _said(next_pass=Move(0.0, -25.0, limited_by="ceiling", reason="peaks touch the ceiling"))

    assert (said.word, said.amount, said.tone) == ("STAY", "0.0", "ceiling")


def test_quiet_inside_the_tolerance_is_on_goal():
    """Calm words, no number to act on."""
    said = advice(scenes.on_goal().shown, relative=False)

    assert (said.word, said.amount, said.tone) == ("ON GOAL", "", "inside")


def test_quiet_without_a_landing_is_listening():
    """Too little was heard to say more, and the reason says so."""
    said = advice(scenes.listening().shown, relative=False)

    assert (said.word, said.landing) == ("LISTENING", "")
    assert said.reason.startswith("10 s of programme")


@pytest.mark.parametrize(("landing", "tone"), [(-21.0, "over"), (-25.0, "under")])
def test_quiet_and_off_the_goal_is_not_listening(landing, tone):
    """A goal out of reach with nothing left to move is said, not passed over."""
    said = _said(this_pass=Move(0.0, landing, reason="Leave the fader: the goal is out of reach"))

    assert ("OFF GOAL", tone, "") == (said.word, said.tone, said.amount)


@pytest.mark.parametrize(
    ("transport", "word"),
    [("preparing", "PREPARING"), ("waiting", "WAITING"), ("ready", "READY"), ("ended", "ENDED")],
)
def test_each_state_without_advice_has_its_word(transport, word):
    """Whoever looks up knows what the sidecar is doing."""
    assert word == advice(Snapshot(transport, BROADCAST), relative=False).word


def test_preparing_says_what_is_happening():
    """The notice is the reason to wait."""
    snapshot = replace(scenes.preparing().shown, notice="opening the device")

    assert advice(snapshot, relative=False).reason == "opening the device"
