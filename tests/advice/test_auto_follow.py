"""When the advised move is made without being asked."""

import math

from sidecar.advice.faders.auto_follow import AutoFollow
from sidecar.model.readings import Move

DOWN = Move(gain_db=-2.0)


def asked(follower, moments, move=DOWN, *, armed=lambda _: True, fader_db=-1.0):
    """The moments at which a target is asked for, with the target."""
    found = {}
    for seconds in moments:
        target_db = follower.target_db(seconds, move, fader_db, is_armed=armed(seconds))
        if target_db is not None:
            found[seconds] = target_db
    return found


def tenths(start_s, end_s):
    return [tenth / 10 for tenth in range(round(start_s * 10), round(end_s * 10) + 1)]


def test_the_move_is_asked_for_every_thirty_seconds_of_programme():
    """The target is the fader's position plus the move; between the looks nothing is asked."""
    assert asked(AutoFollow(), tenths(0, 100)) == {30.0: -3.0, 60.0: -3.0, 90.0: -3.0}


def test_the_first_look_comes_thirty_seconds_after_arming():
    """Armed at 59.9 s, nothing happens at 60 s: the caution to turn the monitors down is that new."""
    assert list(asked(AutoFollow(), tenths(0, 100), armed=lambda seconds: seconds >= 59.9)) == [89.8]


def test_taking_the_fader_back_starts_the_wait_anew():
    """Disarmed for a moment in mid-wait: the whole wait begins again."""
    assert list(asked(AutoFollow(), tenths(0, 60), armed=lambda seconds: seconds != 20.0)) == [50.0]


def test_a_new_programme_starts_the_wait_anew():
    """After a reset the seconds begin at 0 and so does the wait."""
    follower = AutoFollow()
    asked(follower, tenths(0, 29.9))

    assert list(asked(follower, tenths(0, 31))) == [30.0]


def test_a_pause_is_no_programme():
    """Seconds that do not advance bring no look nearer."""
    assert asked(AutoFollow(), [29.9] * 1000) == {}


def test_when_there_is_nothing_to_do_nothing_is_asked():
    """On target, or kept from moving by the ceiling: the fader stays; what comes later is made at once."""
    for move in (Move(), Move(limited_by="ceiling")):
        follower = AutoFollow()

        assert asked(follower, tenths(0, 31), move) == {}
        assert list(asked(follower, tenths(31, 65))) == [31.0, 61.0]


def test_a_closed_fader_is_left_closed():
    """From silence no move in dB leads anywhere."""
    assert asked(AutoFollow(), tenths(0, 100), fader_db=-math.inf) == {}


def test_near_the_end_it_looks_again_sooner_but_never_sooner_after_arming():
    """The first look waits its half minute, whatever the advice would like; the next ones follow it."""
    follower = AutoFollow()
    found = [
        seconds
        for seconds in tenths(0, 50)
        if follower.target_db(seconds, DOWN, 0.0, is_armed=True, look_s=5.0) is not None
    ]

    assert found == [30.0, 35.0, 40.0, 45.0, 50.0]
