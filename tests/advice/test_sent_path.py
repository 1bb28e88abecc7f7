"""Which reports of a fader are of the way that it was sent."""

import pytest

from sidecar.advice.faders.sent_path import SentPath


def sent(*positions_db):
    path = SentPath(positions_db[0], 0.1)
    for position_db in positions_db[1:]:
        path.append(position_db)
    return path


@pytest.mark.parametrize(
    "reports_db",
    [
        (0.0, 1.0, 2.0, 3.0),
        (3.0,),
        (0.0, 0.0, 0.5, 0.5, 2.2, 3.0, 3.0),
        (3.08,),
    ],
)
def test_an_obedient_fader_reports_its_way_in_order_however_coarsely(reports_db):
    path = sent(0.0, 1.0, 2.0, 3.0)

    assert all(path.follow(position_db) for position_db in reports_db)


@pytest.mark.parametrize("reports_db", [(-0.2,), (3.2,), (2.0, 1.0), (1.5, 0.0), (-60.0,)])
def test_what_lies_beside_the_way_or_behind_on_it_is_not_ours(reports_db):
    path = sent(0.0, 1.0, 2.0, 3.0)
    *before, last = reports_db

    assert all(path.follow(position_db) for position_db in before)
    assert not path.follow(last)


def test_a_motor_that_turns_round_before_the_end_is_still_on_its_way():
    """Sent up to 3 dB and down again, it has only come to 1 dB when the new way reaches it."""
    path = sent(0.0, 1.0, 2.0, 3.0, 0.0, -3.0)

    assert [path.follow(position_db) for position_db in (0.5, 1.0, 0.5, -1.0, -3.0)] == [True] * 5


def test_reports_that_creep_away_do_not_take_the_way_with_them():
    path = sent(0.0)

    assert [path.follow(-0.08 * step) for step in range(1, 4)] == [True, False, False]
