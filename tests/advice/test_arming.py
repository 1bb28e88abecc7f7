"""Leave to move a fader."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.advice.faders.arming import AUDIO_TIMEOUT_S, CAUTION, FEEDBACK_TIMEOUT_S, SETTLE_S, Arming
from sidecar.advice.faders.tapers import FaderLimits

TICK_S = 0.05


def armed(position_db: float = 0.0, limits: FaderLimits | None = None) -> Arming:
    arming = Arming(limits)
    arming.audio(0.0)
    arming.feedback(0.0, position_db)
    assert arming.arm(0.0).granted
    return arming


def run(arming: Arming, start_s: float, seconds: float, *, answers: bool = True) -> list[float]:
    """Ticks with audio flowing and a fader that answers; returns what was sent."""
    sent = []
    for tick in range(round(seconds / TICK_S)):
        now_s = start_s + tick * TICK_S
        arming.audio(now_s)
        position_db = arming.next_position(now_s)
        if position_db is not None:
            sent.append(position_db)
            if answers:
                arming.feedback(now_s, position_db)
    return sent


def test_audio_that_comes_back_finds_nothing_armed_though_nobody_looked_meanwhile():
    """A run that was stopped hears a full buffer first: the minute before was lost all the same."""
    arming = armed()
    arming.audio(60.0)

    assert (arming.armed, arming.notice) == (False, "Disarmed: no audio is arriving.")


def test_nothing_is_sent_unless_armed():
    """A request without leave is refused with a sentence, and nothing leaves."""
    arming = Arming()
    arming.audio(0.0)
    arming.feedback(0.0, 0.0)

    verdict = arming.ask(0.0, -3.0)

    assert (verdict.granted, verdict.sentence) == (False, "Refused: the fader is not armed; arm it first.")
    assert run(arming, 0.0, 1.0) == []


def test_the_caution_is_given_when_arming_for_the_first_time_only():
    """The first leave comes with the caution; the second does not repeat it."""
    arming = Arming()
    arming.audio(0.0)
    arming.feedback(0.0, 0.0)

    first = arming.arm(0.0).sentence
    arming.disarm()

    assert [first, arming.arm(0.1).sentence] == [CAUTION, ""]


@pytest.mark.parametrize(
    ("with_audio", "with_feedback", "word"), [(True, False, "feedback"), (False, True, "audio")]
)
def test_leave_needs_audio_and_a_fader_that_answers(with_audio: bool, with_feedback: bool, word: str):
    """Without audio, or without knowing where the fader stands, arming is refused and says so."""
    arming = Arming()
    if with_audio:
        arming.audio(0.0)
    if with_feedback:
        arming.feedback(0.0, 0.0)

    verdict = arming.arm(0.0)

    assert (verdict.granted, arming.armed) == (False, False)
    assert word in verdict.sentence


def test_a_granted_move_arrives():
    """A small move is granted whole and the fader is brought there, and no further."""
    arming = armed()

    assert arming.ask(0.0, 1.5).granted
    assert pytest.approx(1.5) == run(arming, 0.0, 3.0)[-1]
    assert run(arming, 3.0, 1.0) == []


def test_a_rise_is_cut_to_one_step():
    """A request for 5 dB more goes up by one step and says so."""
    verdict = armed().ask(0.0, 5.0)

    assert (verdict.granted, verdict.target_db, verdict.limited_by) == (True, 3.0, "step")
    assert verdict.sentence == "Only to 3.0 dB: one step raises by 3.0 dB at most."


def test_a_second_step_up_waits_for_the_first_to_show():
    """While the last step is still settling a further rise is refused; afterwards it is granted."""
    arming = armed()
    arming.ask(0.0, 3.0)
    run(arming, 0.0, 3.5)

    early = arming.ask(3.5, 5.0)
    run(arming, 3.5, SETTLE_S)
    late = arming.ask(3.5 + SETTLE_S, 5.0)

    assert [early.granted, late.granted] == [False, True]
    assert "more to show its effect" in early.sentence


def test_asking_again_for_the_same_does_not_put_off_the_next_step():
    """Who repeats the request in every update gets the second step when the first has settled."""
    arming = armed()
    tops = set()
    for tick in range(round(8.0 / TICK_S)):
        now_s = tick * TICK_S
        run(arming, now_s, TICK_S)
        tops.add(arming.ask(now_s, 5.0).target_db)

    assert {3.0, 5.0} <= tops


def test_rises_end_at_the_total_since_arming():
    """Step by step the fader rises by the total and then no more; the sentence says how to go on."""
    arming = armed(-10.0)
    now_s, sent = 0.0, []
    for _ in range(5):
        verdict = arming.ask(now_s, 10.0)
        sent += run(arming, now_s, 7.0)
        now_s += 7.0

    assert (verdict.granted, verdict.limited_by) == (False, "range")
    assert pytest.approx(-4.0) == max(sent)
    assert "arm it again" in verdict.sentence


def test_downward_is_always_granted_at_once():
    """A fall needs no rest and no step: only the range holds it."""
    arming = armed()
    arming.ask(0.0, 3.0)

    assert arming.ask(0.1, -30.0).target_db == -30.0
    assert (arming.ask(0.2, -90.0).target_db, arming.ask(0.2, -90.0).limited_by) == (-60.0, "range")


@pytest.mark.parametrize("target_db", [math.nan, math.inf, -math.inf])
def test_a_level_that_is_no_number_is_refused(target_db: float):
    """NaN and infinities never reach a fader."""
    assert not armed().ask(0.0, target_db).granted


def test_a_closed_fader_is_not_opened():
    """From silence the sidecar does not raise: a hand opens the fader first."""
    assert "by hand" in armed(-math.inf).ask(0.0, -20.0).sentence


def test_lost_audio_disarms():
    """When audio stops, leave is withdrawn and nothing more is sent."""
    arming = armed()
    arming.ask(0.0, 3.0)

    assert arming.next_position(0.1) is not None
    assert arming.next_position(0.1 + AUDIO_TIMEOUT_S) is None
    assert (arming.armed, arming.notice) == (False, "Disarmed: no audio is arriving.")


def test_lost_feedback_disarms_before_the_fader_has_gone_far():
    """A fader that stops answering is let go within the time-out: the blind rise stays under 2 dB."""
    arming = armed()
    arming.ask(0.0, 3.0)

    sent = run(arming, 0.0, 5.0, answers=False)

    assert not arming.armed
    assert max(sent) < 0.5 + FEEDBACK_TIMEOUT_S + 0.2
    assert "no longer says" in arming.notice


def test_a_quiet_surface_at_rest_stays_armed():
    """Surfaces that only report changes are silent while nothing moves; that is no loss."""
    arming = armed()
    run(arming, 0.0, 30.0)

    assert arming.armed


def test_a_hand_on_the_fader_takes_it_back():
    """A position that nobody here sent disarms at once."""
    arming = armed()
    arming.ask(0.0, 2.0)
    run(arming, 0.0, 1.0)
    arming.feedback(1.0, -12.0)

    assert not arming.armed
    assert arming.next_position(1.05) is None
    assert "hand" in arming.notice


def test_late_answers_are_not_taken_for_a_hand():
    """An answer half a second behind a fast fall is still the sidecar's own move."""
    arming = armed()
    arming.ask(0.0, -20.0)
    sent = run(arming, 0.0, 0.5, answers=False)
    arming.feedback(0.5, sent[0])

    assert arming.armed


def test_a_fader_that_answers_late_stays_armed():
    """Answers that lag by 0.8 s keep the leave: the fader speaks, if slowly."""
    arming = armed()
    arming.ask(0.0, 3.0)
    sent: list[float] = []
    for tick in range(round(5.0 / TICK_S)):
        now_s = tick * TICK_S
        arming.audio(now_s)
        position_db = arming.next_position(now_s)
        sent.append(sent[-1] if position_db is None else position_db)
        if tick >= 16:
            arming.feedback(now_s, sent[tick - 16])

    assert arming.armed
    assert sent[-1] == pytest.approx(3.0)


def slow_fader(arming: Arming, seconds: float, *, held_after_s: float = math.inf) -> float:
    """A fader that travels 5 dB a second and tells of each change; returns where it stands at the end."""
    fader_db = target_db = 0.0
    for tick in range(round(seconds / TICK_S)):
        now_s = tick * TICK_S
        arming.audio(now_s)
        position_db = arming.next_position(now_s)
        target_db = target_db if position_db is None else position_db
        if fader_db == target_db:
            continue
        if now_s < held_after_s:
            fader_db += min(max(target_db - fader_db, -5.0 * TICK_S), 5.0 * TICK_S)
        arming.feedback(now_s, fader_db)
    return fader_db


def test_a_fader_slower_than_the_ramp_stays_armed_all_the_way():
    """A motor that takes twice as long as the ramp down is still obeying while it comes nearer."""
    arming = armed()
    arming.ask(0.0, -20.0)

    assert pytest.approx(-20.0) == slow_fader(arming, 6.0)
    assert arming.armed


def test_a_slow_fader_that_is_held_on_its_way_is_let_go():
    """It has stopped short of where it was sent and says so: a hand holds it."""
    arming = armed()
    arming.ask(0.0, -20.0)

    assert pytest.approx(-10.0, abs=0.5) == slow_fader(arming, 6.0, held_after_s=2.0)
    assert not arming.armed
    assert "hand" in arming.notice


def test_a_hand_that_pushes_ahead_of_a_rise_takes_the_fader_back():
    """Towards the target, but beyond what was sent: that was not the sidecar."""
    arming = armed()
    arming.ask(0.0, 3.0)
    run(arming, 0.0, 0.5)
    arming.feedback(0.5, 2.5)

    assert not arming.armed


def test_what_was_said_last_can_be_read_afterwards():
    """The caution, a refusal, a limit and the reason for disarming each stand until the next word."""
    arming = Arming()
    notices = []
    arming.arm(0.0)
    notices.append(arming.notice)
    arming.audio(0.0)
    arming.feedback(0.0, 0.0)
    arming.arm(0.0)
    notices.append(arming.notice)
    arming.ask(0.0, 5.0)
    notices.append(arming.notice)
    arming.ask(0.0, -1.0)
    notices.append(arming.notice)
    arming.disarm()
    notices.append(arming.notice)

    assert [
        "Not armed: the fader has never said where it stands; switch its feedback on.",
        CAUTION,
        "Only to 3.0 dB: one step raises by 3.0 dB at most.",
        "",
        "Disarmed by hand.",
    ] == notices


def test_a_fader_that_does_not_follow_is_let_go():
    """A fader held by its own automation keeps answering with its old level: the sidecar lets go."""
    arming = armed()
    arming.ask(0.0, 3.0)
    for tick in range(100):
        now_s = tick * TICK_S
        arming.audio(now_s)
        arming.next_position(now_s)
        arming.feedback(now_s, 0.0)

    assert not arming.armed


ACTIONS = st.lists(
    st.tuples(
        st.sampled_from(["ask", "tick", "audio", "echo", "hand", "arm", "disarm"]),
        st.floats(-70.0, 20.0),
        st.floats(0.0, 1.5),
    ),
    max_size=80,
)


@settings(max_examples=200, deadline=None)
@given(ACTIONS)
def test_no_order_of_events_breaks_the_limits(actions: list[tuple[str, float, float]]):
    """Whatever happens in whatever order: nothing unarmed, nothing above the total, nothing without audio."""
    arming = Arming()
    now_s = audio_s = start_db = last_db = 0.0
    arming.feedback(now_s, 0.0)
    arming.audio(now_s)
    for action, level_db, elapsed_s in actions:
        now_s += elapsed_s
        was_armed = arming.armed
        if action == "ask":
            assert arming.ask(now_s, level_db).sentence or was_armed
        elif action == "audio":
            arming.audio(now_s)
            audio_s = now_s
        elif action == "echo":
            arming.feedback(now_s, last_db)
        elif action == "hand":
            last_db = level_db
            arming.feedback(now_s, level_db)
        elif action == "arm" and arming.arm(now_s).granted and not was_armed:
            start_db = last_db
        elif action == "disarm":
            arming.disarm()
        elif action == "tick":
            position_db = arming.next_position(now_s)
            if position_db is None:
                continue
            assert was_armed
            assert now_s - audio_s <= AUDIO_TIMEOUT_S
            assert (
                position_db
                <= max(start_db, min(start_db + arming.limits.total_up_db, arming.limits.highest_db)) + 1e-9
            )
            assert position_db - last_db <= elapsed_s + 0.25 + 1e-9
            last_db = position_db
