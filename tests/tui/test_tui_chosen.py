"""Which move the screen is about."""

from dataclasses import replace

import pytest
import scripted_feed as scenes

from sidecar.model.headline import chosen, first_stem
from sidecar.model.readings import Move
from sidecar.model.snapshot import Snapshot, Stem


def _stems(**moves):
    return tuple(Stem(name, -1.0, move, -9.0) for name, move in moves.items())


@pytest.mark.parametrize(
    ("moves", "name"),
    [
        ({"voice": Move(1.2), "drums": Move(-0.8)}, "voice"),
        ({"voice": Move(1.2), "drums": Move(-1.3)}, "drums"),
        ({"voice": Move(-1.2), "drums": Move(1.2)}, "voice"),
        ({"voice": Move(), "drums": Move(0.0, limited_by="range")}, "drums"),
    ],
)
def test_the_largest_move_comes_first(moves, name):
    """Up or down alike, the first of equals; a move that a limit took away counts, one at rest does not."""
    assert name == first_stem(_stems(**moves)).name


def test_stems_at_rest_leave_the_word_to_the_programme():
    """With nothing to do on any stem the programme's own landing is shown."""
    snapshot = Snapshot("measuring", scenes.BROADCAST, this_pass=Move(0.0, -23.0), stems=_stems(voice=Move()))

    assert (
        chosen(snapshot).stem,
        chosen(snapshot).scope,
        chosen(snapshot).move.landing,
    ) == ("", "this pass", -23.0)


def test_a_stems_move_carries_its_fader_and_how_many_belong_to_it():
    """From where it moves, and that the landing asks for the others as well."""
    call = chosen(scenes.stems().shown)

    assert (call.stem, call.fader_db, call.moves, call.scope) == ("voice", -3.5, 2, "next pass")


def test_the_pass_that_plays_comes_before_the_next_until_it_has_ended():
    """A pass that is over cannot be landed any more."""
    playing = scenes.down().shown

    assert chosen(playing).scope == "this pass"
    assert chosen(replace(playing, transport="ended")).scope == "next pass"
