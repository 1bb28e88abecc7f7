"""How often the screen is drawn, from the answers of its terminal alone."""

from itertools import pairwise

import pytest

from tui.pace import USUAL_HZ, Pace


def drawn(pace, seconds, delay_s, start_s=0.0):
    """The times of the drawings at a terminal that answers *delay_s* after each."""
    times, asked_s = [], None
    for tick in range(round(seconds * pace.most_hz)):
        now_s = start_s + tick / pace.most_hz
        if asked_s is not None and now_s >= asked_s + delay_s:
            pace.answered(asked_s + delay_s)
            asked_s = None
        if pace.is_due(now_s):
            times.append(now_s)
            if not pace.is_waiting:
                pace.asked(now_s)
                asked_s = now_s
    return times


@pytest.mark.parametrize(
    ("delay_s", "rate_hz"), [(0.01, 20), (0.08, 20), (0.15, 10), (0.4, 4), (0.7, 1), (1.5, 1)]
)
def test_the_rate_falls_to_what_the_line_carries(delay_s, rate_hz):
    pace = Pace(20)
    drawn(pace, 30.0, delay_s)

    assert pace.rate_hz == rate_hz
    assert pace.is_slow == (rate_hz < 20)


def test_the_rate_returns_by_itself():
    pace = Pace()
    drawn(pace, 20.0, 0.7)
    slow_hz = pace.rate_hz
    drawn(pace, 60.0, 0.01, start_s=20.0)

    assert (slow_hz, pace.rate_hz) == (1, USUAL_HZ)


def test_one_late_answer_is_no_slow_line():
    pace = Pace()
    drawn(pace, 5.0, 0.01)
    pace.asked(6.0)
    pace.answered(6.5)

    assert not pace.is_slow


@pytest.mark.parametrize("delay_s", [0.01, 0.3, 0.9])
def test_nothing_is_drawn_before_the_last_drawing_has_arrived(delay_s):
    times = drawn(Pace(), 30.0, delay_s)
    apart_s = [later - earlier for earlier, later in pairwise(times)]

    assert min(apart_s) >= delay_s - 1e-9
    assert max(apart_s) <= delay_s + 1.0


def test_a_key_is_answered_at_the_next_tick_of_a_slow_line():
    pace = Pace()
    drawn(pace, 20.0, 0.7)
    pace.asked(20.0)
    pace.answered(20.1)
    calm = pace.is_due(20.15)
    pace.hurry()

    assert (calm, pace.is_due(20.2), pace.is_due(20.25)) == (False, True, False)


def test_a_terminal_that_never_answers_is_drawn_on_after_a_second():
    pace = Pace()
    pace.asked(0.0)

    assert [pace.is_due(at_s) for at_s in (0.5, 0.95, 1.0, 1.05)] == [False, False, True, True]
    assert not pace.answers


def test_a_lost_answer_holds_the_screen_for_ten_seconds():
    pace = Pace()
    pace.asked(0.0)
    pace.answered(0.1)
    pace.asked(1.0)

    assert [pace.is_due(at_s) for at_s in (5.0, 10.9, 11.0)] == [False, False, True]


def test_fewer_drawings_than_usual_can_be_asked_for():
    pace = Pace(most_hz=4)
    times = drawn(pace, 10.0, 0.01)

    assert len(times) == 40
    assert not pace.is_slow
