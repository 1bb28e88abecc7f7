"""Which move the screen is about."""

from dataclasses import replace

import pytest
import scripted_feed as scenes

from sidecar.model.advice import Advice
from sidecar.model.headline import chosen, chosen_move, first_stem, programme_gain_db, stem_gains_db
from sidecar.model.readings import SILENCE, Move
from sidecar.model.snapshot import Snapshot, Stem


def _stems(**moves):
    return tuple(Stem(name, -1.0, move, -9.0) for name, move in moves.items())


@pytest.mark.parametrize(
    ("moves", "name"),
    [
        ({"voice": Move(1.2), "drums": Move(-0.8)}, "voice"),
        ({"voice": Move(1.2), "drums": Move(-1.3)}, "drums"),
        ({"voice": Move(-1.2), "drums": Move(1.2)}, "voice"),
        ({"voice": Move(0.1), "drums": Move(0.0, limited_by="range")}, "voice"),
    ],
)
def test_the_largest_move_comes_first(moves, name):
    """Up or down alike, the first of equals; a fader that cannot be moved has no move."""
    assert name == first_stem(_stems(**moves)).name


def test_stems_at_rest_leave_the_word_to_the_programme():
    """With nothing to do on any stem the programme's own landing is shown."""
    on_goal = Advice("on_goal", Move(0.0, -23.0), lands_this_pass=True)
    snapshot = Snapshot("measuring", scenes.BROADCAST, advice=on_goal, stems=_stems(voice=Move()))

    assert (
        chosen(snapshot).stem,
        chosen(snapshot).scope,
        chosen(snapshot).move.landing,
    ) == ("", "this pass", -23.0)


def test_a_stem_in_the_way_leaves_the_move_to_the_programme_and_is_named():
    """A kept voice that is too loud by itself: what cannot be done, and what can."""
    stuck = _stems(voice=Move(0.0, limited_by="range", reason="Voice is held."), drums=Move())
    loud = Advice("move", Move(-2.0, -23.0, reason="It is loud."))
    snapshot = Snapshot("measuring", scenes.BROADCAST, advice=loud, stems=stuck)

    assert chosen_move(snapshot) == ("master", Move(-2.0, -23.0, reason="Voice is held. It is loud."))


@pytest.mark.parametrize(
    ("moves", "named", "gain_db", "programme_db"),
    [
        ({"voice": Move(-3.0), "drums": Move()}, "voice", -3.0, 0.0),
        ({"voice": Move(-7.4), "drums": Move(-7.4)}, "all stems", -7.4, -7.4),
        ({"voice": Move(-2.0), "drums": Move(-2.0), "crowd": Move()}, "several stems", -2.0, 0.0),
        ({"voice": Move(-3.0), "drums": Move(1.0)}, "several stems", 0.0, 0.0),
    ],
)
def test_several_faders_are_told_as_several(moves, named, gain_db, programme_db):
    """With a name beside it the gain is that name's; without one it is what the master fader may do."""
    snapshot = Snapshot("measuring", scenes.BROADCAST, stems=_stems(**moves))
    name, move = chosen_move(snapshot)

    assert (name, move.gain_db, programme_gain_db(snapshot)) == (named, gain_db, programme_db)
    assert stem_gains_db(snapshot.stems) == {stem: one.gain_db for stem, one in moves.items()}


def test_a_closed_stem_fader_is_not_missed_among_all():
    """It is not heard, and opening it is a new balance."""
    shut = Stem("crowd", SILENCE, Move(), SILENCE)
    snapshot = Snapshot(
        "measuring", scenes.BROADCAST, stems=(*_stems(voice=Move(-1.0), drums=Move(-1.0)), shut)
    )

    assert chosen_move(snapshot)[0] == "all stems"


def test_a_stems_move_carries_its_fader_and_how_many_belong_to_it():
    """From where it moves, and that the landing asks for the others as well."""
    call = chosen(scenes.stems().shown)

    assert (call.stem, call.fader_db, call.moves, call.scope) == ("voice", -3.5, 2, "next pass")


def test_the_pass_that_plays_comes_before_the_next_until_it_has_ended():
    """A pass that is over cannot be landed any more."""
    playing = scenes.down().shown

    assert chosen(playing).scope == "this pass"
    assert chosen(replace(playing, transport="ended")).scope == "next pass"
