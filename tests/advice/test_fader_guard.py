"""The last guard in front of a workstation's fader."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidecar.advice.faders.guard import LEAD_DB, OLDEST_S, SETTLED_S, FaderGuard

TICK_S = 0.05


def opened(position_db=0.0, now_s=100.0, rounding_db=0.0):
    guard = FaderGuard(rounding_db)
    guard.open()
    guard.confirm(now_s, position_db)
    return guard


def test_nothing_passes_a_guard_that_was_never_opened():
    guard = FaderGuard()
    guard.confirm(100.0, 0.0)

    assert guard.next_position(100.1, -3.0) is None


def test_what_was_confirmed_before_it_was_opened_is_forgotten():
    guard = opened(-3.0)
    guard.close()
    guard.open()

    assert guard.next_position(100.1, 0.0) is None
    guard.confirm(100.2, -60.0)
    assert guard.next_position(100.3, 0.0) == pytest.approx(-59.9)


def test_a_late_answer_to_what_was_sent_before_it_was_opened_does_not_count():
    guard = opened()
    guard.next_position(100.1, -8.0)
    guard.close()
    guard.open()
    guard.confirm(100.2, 0.0)
    assert guard.next_position(100.3, 3.0) is None

    guard.confirm(100.1 + SETTLED_S + 0.1, -8.0)
    assert guard.next_position(100.1 + SETTLED_S + 0.2, 3.0) == pytest.approx(-7.9)


def test_closing_takes_effect_with_the_next_position():
    guard = opened()
    assert guard.next_position(100.1, -3.0) is not None
    guard.close()

    assert guard.next_position(100.2, -3.0) is None


@pytest.mark.parametrize("target_db", [-6.0, 6.0])
def test_a_position_confirmed_too_long_ago_stops_both_ways(target_db):
    guard = opened()

    assert guard.next_position(100.0 + OLDEST_S + 0.01, target_db) is None


def test_a_rise_takes_a_second_for_a_decibel_whatever_is_asked():
    guard = opened()
    sent = []
    for tick in range(1, 41):
        now_s = 100.0 + tick * TICK_S
        position_db = guard.next_position(now_s, 40.0)
        sent.append(position_db)
        guard.confirm(now_s, position_db)

    assert sent == pytest.approx([tick * TICK_S for tick in range(1, 41)])


def test_a_call_after_a_long_rest_does_not_leap():
    guard = opened()
    for second in range(60):
        guard.confirm(101.0 + second, 0.0)

    assert guard.next_position(160.05, 40.0) <= 0.25


def test_a_rise_waits_for_answers_that_are_late():
    """No further than half a decibel ahead of the last answer, and on as the answers come."""
    guard = opened()
    sent = [guard.next_position(100.0 + tick * TICK_S, 3.0) for tick in range(1, 17)]
    assert max(filter(None, sent)) == pytest.approx(LEAD_DB)
    assert sent[-1] is None
    guard.confirm(100.85, 0.25)

    assert guard.next_position(100.85, 3.0) == pytest.approx(0.75)


def test_a_hand_that_holds_the_fader_is_overruled_by_half_a_decibel_at_most():
    guard = opened()
    sent = []
    for tick in range(1, 41):
        sent.append(guard.next_position(100.0 + tick * TICK_S, 3.0))
        guard.confirm(100.0 + tick * TICK_S, 0.0)

    assert max(filter(None, sent)) <= LEAD_DB + 1e-9


def test_a_target_far_away_after_a_rest_gets_the_ramp_and_nothing_more():
    """Two seconds after the report, in one call: the ramp's longest step, not two decibels."""
    assert opened().next_position(100.0 + OLDEST_S, 40.0) == pytest.approx(0.25)


def test_nothing_that_would_lift_a_fader_pulled_down_by_hand_passes():
    """Whatever the caller still believes: from -30 dB the next position is at most a ramp's step higher."""
    guard = opened()
    guard.next_position(100.05, 3.0)
    guard.confirm(100.1, -30.0)

    assert guard.next_position(100.15, 3.0) is None
    assert guard.next_position(100.15, -0.5) is None


def test_a_hand_that_lowers_a_rising_fader_a_little_ends_the_rise_until_it_has_settled():
    """Half a decibel down is within what a surface may round; it must not come back in one datagram."""
    guard = opened()
    for tick in range(1, 9):
        now_s = 100.0 + tick * TICK_S
        guard.next_position(now_s, 3.0)
        guard.confirm(now_s, 0.05 * tick)
    guard.confirm(100.45, -0.1)

    assert guard.next_position(100.5, 3.0) is None
    guard.confirm(102.5, -0.1)
    assert guard.next_position(102.55, 3.0) == pytest.approx(-0.05)


def test_a_fall_never_lifts_a_fader_that_a_hand_has_pulled_further_down():
    guard = opened()
    guard.next_position(100.05, -60.0)
    guard.confirm(100.1, -60.0)

    assert guard.next_position(100.15, -60.0) == -60.0


def test_while_nothing_may_rise_a_fall_passes():
    guard = opened()

    assert guard.next_position(100.05, 3.0, may_rise=False) is None
    assert guard.next_position(100.10, -3.0, may_rise=False) == pytest.approx(-1.0)


def test_a_fall_in_the_midst_of_a_rise_that_is_answered_late_begins_at_once():
    guard = opened()
    for tick in range(1, 11):
        guard.next_position(100.0 + tick * TICK_S, 3.0)
    guard.confirm(100.5, 0.05)

    assert guard.next_position(100.55, -3.0) <= 0.1


def test_what_a_surface_rounds_is_what_was_sent():
    guard = opened(rounding_db=0.3)
    for tick in range(1, 21):
        now_s = 100.0 + tick * TICK_S
        guard.next_position(now_s, 1.0)
        guard.confirm(now_s, 0.0 if tick < 6 else 0.3 * (tick // 6))

    assert guard.next_position(101.05, 1.0) is None  # it has arrived
    assert guard.next_position(101.10, 1.1) == pytest.approx(1.1, abs=0.06)


@pytest.mark.parametrize("target_db", [math.nan, math.inf, -math.inf, 400.0])
def test_no_target_makes_it_leap(target_db):
    position_db = opened().next_position(100.05, target_db)

    assert position_db is None or -0.5 <= position_db <= 0.05 + 1e-9


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["ask", "ask", "ask", "confirm", "echo", "open", "close"]),
        st.one_of(st.floats(-80.0, 20.0), st.just(-math.inf), st.just(math.nan)),
        st.floats(0.0, 3.0),
        st.booleans(),
    ),
    max_size=60,
)


@pytest.mark.slow
@given(STEPS)
def test_no_order_of_calls_lets_a_leap_through(steps):
    """Each position is near the latest confirmed one, and within the ramp of the latest sent one."""
    guard, now_s = FaderGuard(), 0.0
    confirmed = None
    last_db, last_s = -math.inf, 0.0
    for kind, level_db, elapsed_s, may_rise in steps:
        now_s += elapsed_s
        if kind == "open":
            guard.open()
            confirmed = None
        elif kind == "close":
            guard.close()
        elif kind in ("confirm", "echo") and guard.is_open:
            reported_db = last_db if kind == "echo" else level_db
            guard.confirm(now_s, reported_db)
            if not math.isnan(reported_db):
                confirmed = (reported_db, now_s)
        elif kind == "ask":
            position_db = guard.next_position(now_s, level_db, may_rise=may_rise)
            if position_db is None:
                continue
            assert guard.is_open
            assert confirmed is not None
            assert now_s - confirmed[1] <= OLDEST_S
            assert position_db <= confirmed[0] + LEAD_DB + 1e-9
            assert may_rise or position_db <= confirmed[0]
            assert position_db <= max(last_db + min(now_s - last_s, 0.25), confirmed[0] + 0.25) + 1e-9
            last_db, last_s = position_db, now_s
