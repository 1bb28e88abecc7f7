"""Where the fader stood."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidecar.advice.faders.history import FaderHistory
from sidecar.errors import SettingsError


def test_an_unknown_fader_counts_from_nought():
    """Before anything is said all positions are 0 dB, and they are not taken for absolute."""
    history = FaderHistory()

    assert history.gains_db(0, 2).tolist() == [0.0, 0.0]
    assert not history.is_absolute


def test_told_moves_add_up():
    """'I moved it by …' counts from where the fader stood then."""
    history = FaderHistory()
    history.moved_by(10.0, -2.0)
    history.moved_by(20.0, 0.5)

    assert [history.position_db_at(time_s) for time_s in (9.9, 10.0, 30.0)] == [0.0, -2.0, -1.5]


def test_feedback_puts_earlier_moves_right():
    """The first feedback is the position now, hence before the reported moves."""
    history = FaderHistory()
    history.moved_by(10.0, 2.0)
    history.add_feedback(20.0, -5.0)

    assert [history.position_db_at(time_s) for time_s in (0.0, 15.0, 25.0)] == [-7.0, -5.0, -5.0]
    assert history.is_absolute


def test_feedback_counts_from_its_own_time():
    """Later feedback changes nothing before it, whatever happened to the fader in between."""
    history = FaderHistory()
    history.add_feedback(0.0, -5.0)
    history.add_feedback(10.0, -math.inf)
    history.add_feedback(20.0, 1.0)

    assert [-5.0, -math.inf, 1.0] == [history.position_db_at(time_s) for time_s in (9.0, 19.0, 21.0)]


def test_a_fader_first_seen_closed_has_no_bearing_on_what_was_before():
    """From a closed fader no difference leads back: earlier positions stay as they were."""
    history = FaderHistory()
    history.add_feedback(10.0, -math.inf)
    history.add_feedback(20.0, -3.0)

    assert [0.0, -math.inf, -3.0] == [history.position_db_at(time_s) for time_s in (5.0, 15.0, 25.0)]


def test_blocks_take_the_position_in_their_middle():
    """A move at 0.27 s counts from the block on whose middle comes after it."""
    history = FaderHistory()
    history.moved_by(0.27, -6.0)

    assert history.gains_db(1, 3).tolist()[0:1] + history.gains_db(3, 2).tolist() == [0.0, -6.0, -6.0]
    assert history.gains_db(2, 1).tolist() == [0.0]


@given(
    st.lists(st.tuples(st.booleans(), st.sampled_from([-5.0, 2.0])), min_size=1, max_size=12),
    st.randoms(use_true_random=False),
)
def test_news_may_come_in_any_order(news: list[tuple[bool, float]], shuffle: random.Random):
    """Late and shuffled news gives the same positions as news in time."""
    events = [(float(place), *what) for place, what in enumerate(news)]
    in_time, late = FaderHistory(), FaderHistory()
    shuffled = list(events)
    shuffle.shuffle(shuffled)
    for history, told in ((in_time, events), (late, shuffled)):
        for time_s, is_feedback, value_db in told:
            (history.add_feedback if is_feedback else history.moved_by)(time_s, value_db)

    assert late.gains_db(0, 130) == pytest.approx(in_time.gains_db(0, 130))


def test_a_late_move_counts_until_the_next_report_however_often_that_was_repeated():
    history = FaderHistory()
    for time_s in (10.0, 20.0, 30.0, 40.0):
        history.add_feedback(time_s, -5.0)
    history.moved_by(15.0, 2.0)

    assert [history.position_db_at(time_s) for time_s in (14.0, 16.0, 21.0, 50.0)] == [-5.0, -3.0, -5.0, -5.0]


def test_only_feedback_of_the_latest_position_repeats():
    history = FaderHistory()
    empty = history.repeats(0.0)
    history.add_feedback(10.0, -5.0)
    same, other = history.repeats(-5.0), history.repeats(-4.0)
    history.moved_by(20.0, 2.0)

    assert (empty, same, other) == (False, True, False)
    assert not history.repeats(-3.0)


@pytest.mark.parametrize(
    ("verb", "time_s", "value_db"),
    [
        ("add_feedback", 0.0, math.nan),
        ("add_feedback", 0.0, math.inf),
        ("add_feedback", math.nan, 0.0),
        ("moved_by", 0.0, math.inf),
        ("moved_by", 0.0, math.nan),
        ("moved_by", math.inf, 0.0),
    ],
)
def test_what_is_no_position_is_refused(verb: str, time_s: float, value_db: float):
    """NaN and infinities are refused with a sentence, and nothing changes."""
    history = FaderHistory()

    with pytest.raises(SettingsError):
        getattr(history, verb)(time_s, value_db)
    assert history.position_db_at(100.0) == 0.0
