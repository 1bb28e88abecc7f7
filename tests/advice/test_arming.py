"""Leave to move a fader."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.advice.faders.arming import (
    ARM_TIMEOUT_S,
    AUDIO_TIMEOUT_S,
    CAUTION,
    FEEDBACK_TIMEOUT_S,
    RENEW_S,
    SETTLE_S,
    VANISHED_S,
    Arming,
)
from sidecar.advice.faders.guard import FaderGuard
from sidecar.advice.faders.tapers import RISE_DB_PER_S, FaderLimits

TICK_S = 0.05


class Rig(Arming):
    """Arming with the guard behind it, as a run has them."""

    def __init__(self, limits: FaderLimits | None = None) -> None:
        super().__init__(limits)
        self.guard = FaderGuard()
        self.fader_db = 0.0
        """Position of a fader that does as commanded."""

    def hear(self, now_s: float) -> None:
        self.report_audio(now_s, is_silent=False)

    def report_fader(self, now_s: float, position_db: float, received_s: float | None = None) -> None:
        self.guard.confirm(now_s, position_db)
        super().report_fader(now_s, position_db, received_s)

    def arm(self, now_s: float):
        verdict = super().arm(now_s)
        if self.is_waiting:
            self.guard.open()
        return verdict

    def send(self, now_s: float) -> float | None:
        """What leaves for the workstation now."""
        position_db = self.guard.next_position(now_s, self.target_db(now_s), may_rise=self.may_rise)
        if position_db is not None:
            self.record_sent(now_s, position_db)
            self.fader_db = position_db
        return position_db


def armed(position_db: float = 0.0, limits: FaderLimits | None = None) -> Rig:
    arming = Rig(limits)
    arming.hear(0.0)
    arming.arm(0.0)
    arming.fader_db = position_db
    arming.report_fader(0.0, position_db)
    assert arming.armed
    return arming


def run(arming: Rig, start_s: float, seconds: float, *, answers: bool = True) -> list[float]:
    """Ticks with audio flowing and a fader that answers; returns what was sent."""
    sent = []
    for tick in range(round(seconds / TICK_S)):
        now_s = start_s + tick * TICK_S
        arming.hear(now_s)
        position_db = arming.send(now_s)
        if position_db is not None:
            sent.append(position_db)
        if answers:
            arming.report_fader(now_s, arming.fader_db)
    return sent


def test_audio_that_comes_back_finds_nothing_armed_though_nobody_looked_meanwhile():
    """A run that was stopped receives a full buffer first: the minute before was lost all the same."""
    arming = armed()
    arming.hear(60.0)

    assert (arming.armed, arming.notice) == (False, "Disarmed: no audio arrives.")


def test_nothing_is_sent_unless_armed():
    """A request without leave is refused with a sentence, and nothing leaves."""
    arming = Rig()
    arming.hear(0.0)
    arming.report_fader(0.0, 0.0)

    verdict = arming.ask(0.0, -3.0)

    assert (verdict.granted, verdict.sentence) == (False, "Refused: the fader is not armed. Arm it first.")
    assert run(arming, 0.0, 1.0) == []


def test_the_caution_gives_the_limits():
    limits = FaderLimits()

    assert f"{limits.step_up_db:g} dB a step, {limits.total_up_db:g} dB in a pass" in CAUTION
    assert f"{RISE_DB_PER_S:g} dB a second" in CAUTION


def test_arming_waits_for_a_report_that_arrives_after_the_request():
    arming = Rig()
    arming.hear(0.0)
    arming.report_fader(0.0, -60.0)
    verdict = arming.arm(0.1)

    assert (verdict.granted, arming.armed) == (False, False)
    assert "touch the fader once" in verdict.sentence
    assert CAUTION in verdict.sentence

    arming.report_fader(0.2, -60.0, received_s=0.05)  # it was on its way already
    assert not arming.armed
    arming.report_fader(0.3, -12.0)
    assert arming.armed
    assert arming.notice == f"Armed at −12.0 dB. {CAUTION}"


def test_a_position_is_forgotten_with_the_leave():
    """Disarmed and armed again, nothing goes anywhere before the fader has reported anew."""
    arming = armed(0.0)
    arming.disarm()
    arming.arm(0.5)

    assert not arming.ask(0.6, 3.0).granted
    assert run(arming, 0.5, 2.0, answers=False) == []


def test_a_request_to_arm_lapses():
    """A touch minutes later is about something else."""
    arming = Rig()
    arming.hear(0.0)
    arming.arm(0.0)
    run(arming, 0.0, ARM_TIMEOUT_S + 0.2, answers=False)
    arming.report_fader(ARM_TIMEOUT_S + 0.2, 0.0)

    assert (arming.armed, arming.is_waiting) == (False, False)
    assert "Turn on OSC feedback" in arming.notice


def test_disarming_takes_a_request_back_too():
    arming = Rig()
    arming.hear(0.0)
    arming.arm(0.0)
    arming.disarm()
    arming.report_fader(0.1, 0.0)

    assert not arming.armed


def test_leave_needs_audio():
    """Without audio arming is refused and says so."""
    arming = Rig()
    verdict = arming.arm(0.0)
    arming.report_fader(0.0, 0.0)

    assert (verdict.granted, arming.armed) == (False, False)
    assert "audio" in verdict.sentence


def test_a_granted_move_arrives():
    """A small move is granted whole and the fader is brought there, and no further."""
    arming = armed()

    assert arming.ask(0.0, 1.5).granted
    assert run(arming, 0.0, 3.0)[-1] == pytest.approx(1.5)
    assert run(arming, 3.0, 1.0) == []


def test_a_rise_is_cut_to_one_step():
    """A request for 5 dB more goes up by one step and says so."""
    verdict = armed().ask(0.0, 5.0)

    assert (verdict.granted, verdict.target_db, verdict.limited_by) == (True, 3.0, "step")
    assert verdict.sentence == "Only to 3.0 dB: one step up is 3.0 dB at most."


def test_a_second_step_up_waits_for_the_first_to_show():
    """While the last step is still settling a further rise is refused; afterwards it is granted."""
    arming = armed()
    arming.ask(0.0, 3.0)
    run(arming, 0.0, 3.5)

    early = arming.ask(3.5, 5.0)
    run(arming, 3.5, SETTLE_S)
    late = arming.ask(3.5 + SETTLE_S, 5.0)

    assert [early.granted, late.granted] == [False, True]
    assert "more to take effect" in early.sentence


def test_asking_again_for_the_same_does_not_put_off_the_next_step():
    """Who repeats the request in every update gets the second step when the first has settled."""
    arming = armed()
    tops = set()
    for tick in range(round(8.0 / TICK_S)):
        now_s = tick * TICK_S
        run(arming, now_s, TICK_S)
        tops.add(arming.ask(now_s, 5.0).target_db)

    assert {3.0, 5.0} <= tops


def test_rises_end_at_the_total_of_the_pass():
    """Step by step the fader rises by the total and then no more; the sentence says how to go on."""
    arming = armed(-10.0)
    now_s, sent = 0.0, []
    for _ in range(5):
        verdict = arming.ask(now_s, 10.0)
        sent += run(arming, now_s, 7.0)
        now_s += 7.0

    assert (verdict.granted, verdict.limited_by) == (False, "range")
    assert max(sent) == pytest.approx(-4.0)
    assert "or reset." in verdict.sentence


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
    assert "yourself" in armed(-math.inf).ask(0.0, -20.0).sentence


def test_lost_audio_disarms():
    """When audio stops, leave is withdrawn and nothing more is sent."""
    arming = armed()
    arming.ask(0.0, 3.0)

    assert arming.send(0.1) is not None
    assert arming.send(0.1 + AUDIO_TIMEOUT_S) is None
    assert (arming.armed, arming.notice) == (False, "Disarmed: no audio arrives.")


def test_lost_feedback_disarms_before_the_fader_has_gone_far():
    """A fader that stops answering is let go within the time-out: the blind rise stays under 2 dB."""
    arming = armed()
    arming.ask(0.0, 3.0)

    sent = run(arming, 0.0, 5.0, answers=False)

    assert not arming.armed
    assert max(sent) < 0.5 + FEEDBACK_TIMEOUT_S + 0.2
    assert "no longer arrives" in arming.notice


def test_an_armed_fader_is_given_back_after_five_silent_seconds():
    """At rest too: a workstation that has vanished sends nothing."""
    arming = armed()
    run(arming, 0.0, 30.0)
    still = arming.armed
    run(arming, 30.0, VANISHED_S - 2 * TICK_S, answers=False)
    nearly = arming.armed
    run(arming, 30.0 + VANISHED_S, 3 * TICK_S, answers=False)

    assert (still, nearly, arming.armed) == (True, True, False)
    assert "no fader position for 5 s" in arming.notice


@pytest.mark.parametrize("moved_db", [0.06, 0.1, 0.3, 0.6, -0.06, -0.6, -math.inf])
@pytest.mark.parametrize("target_db", [0.0, 2.0, -8.0])
def test_any_change_of_a_fader_at_rest_disarms(target_db, moved_db):
    """Before any move too. The workstation rounds what it reports to tenths: that is no change."""
    arming = armed()
    run(arming, 0.0, 1.0)
    arming.ask(1.0, target_db)
    run(arming, 1.0, 10.0)
    rest_db = round(arming.fader_db, 1)
    arming.report_fader(11.0, rest_db)
    arming.report_fader(11.1, rest_db)
    at_rest = arming.armed
    arming.report_fader(11.2, rest_db + moved_db)

    assert (at_rest, arming.armed) == (True, False)
    assert "the sidecar did not send it" in arming.notice


def test_the_hand_that_arms_may_come_to_rest():
    """It has to move the fader for a report; less than half a decibel more within 1.5 s is the same touch."""
    arming = armed(-10.0)
    for tick in range(10):
        arming.hear(0.05 * tick)
        arming.report_fader(0.05 * tick, -10.0 + 0.04 * tick)
    arming.fader_db = -9.64
    run(arming, 0.5, 3.0)
    at_rest = arming.armed
    arming.report_fader(3.5, -9.5)

    assert (at_rest, arming.armed) == (True, False)


def test_a_hand_on_the_fader_takes_it_back():
    """A position that the sidecar did not send disarms at once."""
    arming = armed()
    arming.ask(0.0, 2.0)
    run(arming, 0.0, 1.0)
    arming.report_fader(1.0, -12.0)

    assert not arming.armed
    assert arming.send(1.05) is None
    assert "hand" in arming.notice


def test_late_answers_are_not_taken_for_a_hand():
    """An answer half a second behind a fast fall is still the sidecar's own move."""
    arming = armed()
    arming.ask(0.0, -20.0)
    sent = run(arming, 0.0, 0.5, answers=False)
    arming.report_fader(0.5, sent[0])

    assert arming.armed


def test_a_fader_that_answers_late_stays_armed():
    """Answers that lag by 0.8 s keep the leave: the fader speaks, if slowly."""
    arming = armed()
    arming.ask(0.0, 3.0)
    sent: list[float] = []
    for tick in range(round(5.0 / TICK_S)):
        now_s = tick * TICK_S
        arming.hear(now_s)
        arming.send(now_s)
        sent.append(arming.fader_db)
        if tick >= 16:
            arming.report_fader(now_s, sent[tick - 16])

    assert arming.armed
    assert sent[-1] == pytest.approx(3.0)


def slow_fader(arming: Arming, seconds: float, *, held_after_s: float = math.inf) -> float:
    """A fader that travels 5 dB a second and reports each change; returns where it is at the end."""
    fader_db = target_db = 0.0
    for tick in range(round(seconds / TICK_S)):
        now_s = tick * TICK_S
        arming.hear(now_s)
        position_db = arming.send(now_s)
        target_db = target_db if position_db is None else position_db
        if fader_db == target_db:
            continue
        if now_s < held_after_s:
            fader_db += min(max(target_db - fader_db, -5.0 * TICK_S), 5.0 * TICK_S)
        arming.report_fader(now_s, fader_db)
    return fader_db


def test_a_fader_slower_than_the_ramp_stays_armed_all_the_way():
    """A motor that takes twice as long as the ramp down is still obeying while it comes nearer."""
    arming = armed()
    arming.ask(0.0, -20.0)

    assert slow_fader(arming, 6.0) == pytest.approx(-20.0)
    assert arming.armed


def test_a_slow_fader_that_is_held_on_its_way_is_let_go():
    """It has stopped short of where it was sent and says so: a hand holds it."""
    arming = armed()
    arming.ask(0.0, -20.0)

    assert slow_fader(arming, 6.0, held_after_s=2.0) == pytest.approx(-10.0, abs=0.5)
    assert not arming.armed
    assert "does not follow" in arming.notice


def test_a_hand_that_pushes_ahead_of_a_rise_takes_the_fader_back():
    """Towards the target, but beyond what was sent: that was not the sidecar."""
    arming = armed()
    arming.ask(0.0, 3.0)
    run(arming, 0.0, 0.5)
    arming.report_fader(0.5, 2.5)

    assert not arming.armed


def test_what_was_said_last_can_be_read_afterwards():
    """The caution, a refusal, a limit and the reason for disarming each stay until the next sentence."""
    arming = Rig()
    notices = []
    arming.arm(0.0)
    notices.append(arming.notice)
    arming.hear(0.0)
    arming.arm(0.0)
    arming.report_fader(0.0, 0.0)
    notices.append(arming.notice)
    arming.ask(0.0, 5.0)
    notices.append(arming.notice)
    arming.ask(0.0, -1.0)
    notices.append(arming.notice)
    arming.disarm()
    notices.append(arming.notice)

    assert notices == [
        "Not armed: no audio arrives. Start playback, then arm again.",
        f"Armed at 0.0 dB. {CAUTION}",
        "Only to 3.0 dB: one step up is 3.0 dB at most.",
        "",
        "Disarmed by you.",
    ]


def rising(seconds: float = 1.0) -> Rig:
    """On its way up by 3 dB, so many seconds after it set out."""
    arming = armed()
    arming.ask(0.0, 3.0)
    run(arming, 0.0, seconds)
    assert arming.is_rising
    return arming


def test_a_rise_waits_through_a_short_silence_and_goes_on():
    arming = rising()
    for tick in range(10):
        arming.report_audio(1.0 + tick * TICK_S, is_silent=True)
        assert arming.send(1.0 + tick * TICK_S) is None

    assert run(arming, 1.5, 4.0)[-1] == pytest.approx(3.0)


def test_a_rise_is_over_after_a_second_of_silence_and_none_begins():
    arming = rising()
    for tick in range(30):
        arming.report_audio(1.0 + tick * TICK_S, is_silent=True)
        assert arming.send(1.0 + tick * TICK_S) is None

    assert arming.notice.startswith("Stopped at")
    assert "silent" in arming.notice
    assert "silent" in arming.ask(2.5, 3.0).sentence
    assert arming.ask(2.5, -3.0).granted


def test_what_forbids_a_rise_stops_it_and_leaves_a_rest():
    """The ceiling, say: the fader stays, goes down when asked, and rises again only after a rest."""
    arming = rising()
    arming.forbid_rise(1.0, "the true peak is over the ceiling.")

    assert arming.notice.startswith("Stopped at ")
    assert arming.ask(1.1, 3.0).sentence == "Refused: the true peak is over the ceiling."
    assert run(arming, 1.0, 1.0) == []
    arming.forbid_rise(2.0, "")
    assert run(arming, 2.0, 1.0) == []
    assert arming.ask(3.1, -3.0).granted


def test_a_rise_ends_where_the_advice_ends():
    arming = rising()
    arming.cap_rise(1.5, "the advised level is reached.")

    assert run(arming, 1.0, 3.0)[-1] == pytest.approx(1.5)


def test_disarming_gains_neither_rest_nor_total():
    """Over and over: armed, raised, disarmed at once. It comes no further than by one arming."""
    arming = armed()
    now_s = 0.0
    for _ in range(20):
        arming.ask(now_s, 40.0)
        run(arming, now_s, 5.0)
        now_s += 5.0
        arming.disarm()
        arming.arm(now_s)
        arming.report_fader(now_s, arming.fader_db)

    assert arming.armed
    assert arming.fader_db == pytest.approx(arming.limits.total_up_db)
    assert "or reset." in arming.ask(now_s, 40.0).sentence


def test_the_rest_after_a_step_outlasts_the_arming():
    arming = armed()
    arming.ask(0.0, 3.0)
    run(arming, 0.0, 3.2)
    arming.disarm()
    arming.arm(3.2)
    run(arming, 3.2, 1.6)

    assert arming.armed
    assert "needs" in arming.ask(4.8, 6.0).sentence


def test_late_answers_to_a_move_from_before_do_not_arm():
    """Down by 8 dB, disarmed and armed at once: what comes now may speak of the way there."""
    arming = armed()
    arming.ask(0.0, -8.0)
    run(arming, 0.0, 1.0, answers=False)
    arming.disarm()
    arming.arm(1.0)
    arming.report_fader(1.1, -0.5)
    assert not arming.armed

    arming.hear(1.8)
    arming.hear(2.6)
    arming.report_fader(2.6, -8.0)
    assert arming.armed


def test_resetting_again_and_again_gains_nothing():
    """A new pass renews the total, but not one that is shorter than a minute."""
    arming = armed()
    highest_db, now_s = 0.0, 0.0
    while now_s < RENEW_S - 5.0:
        arming.begin_pass(now_s)
        arming.ask(now_s, 40.0)
        highest_db = max([highest_db, *run(arming, now_s, 5.0)])
        now_s += 5.0
    assert highest_db == pytest.approx(arming.limits.total_up_db)

    run(arming, now_s, 5.0)
    arming.begin_pass(RENEW_S)
    assert arming.ask(RENEW_S, highest_db + 1.0).granted


def test_a_new_pass_ends_a_rise():
    arming = rising()
    arming.begin_pass(1.0)

    assert run(arming, 1.0, 2.0) == []
    assert arming.notice.startswith("Stopped at ")


def test_lowering_gives_back_what_was_raised():
    """Up and down all day, the fader never comes higher than the total above its lowest."""
    arming = armed()
    now_s = 0.0
    for round_trip in range(4):
        for target_db in (3.0, 6.0, 0.0):
            assert arming.ask(now_s, target_db).target_db == target_db, round_trip
            run(arming, now_s, 8.0)
            now_s += 8.0


def test_a_fader_that_does_not_follow_is_let_go():
    """A fader held by its own automation keeps answering with its old level: the sidecar lets go."""
    arming = armed()
    arming.ask(0.0, 3.0)
    for tick in range(100):
        now_s = tick * TICK_S
        arming.hear(now_s)
        arming.send(now_s)
        arming.report_fader(now_s, 0.0)

    assert not arming.armed


ACTIONS = st.lists(
    st.tuples(
        st.sampled_from(["ask", "ask", "tick", "tick", "hear", "echo", "hand", "arm", "disarm", "reset"]),
        st.floats(-70.0, 20.0),
        st.floats(0.0, 1.5),
    ),
    max_size=80,
)


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(ACTIONS)
def test_no_order_of_events_breaks_the_limits(actions: list[tuple[str, float, float]]):
    """Whatever happens in whatever order: nothing unarmed, nothing without audio, nothing faster than the
    ramp, and no more in all than the total, armings and short passes counted together."""
    arming = Rig()
    now_s = audio_s = moved_s = 0.0
    risen_db = 0.0
    for action, level_db, elapsed_s in actions:
        now_s += elapsed_s
        was_armed = arming.armed
        if action == "ask":
            assert arming.ask(now_s, level_db).sentence or was_armed
        elif action == "hear":
            arming.hear(now_s)
            audio_s = now_s
        elif action == "echo":
            arming.report_fader(now_s, arming.fader_db)
        elif action == "hand":
            arming.fader_db = level_db
            arming.report_fader(now_s, level_db)
        elif action == "arm":
            arming.arm(now_s)
        elif action == "disarm":
            arming.disarm()
            arming.guard.close()
        elif action == "reset" and now_s < RENEW_S:
            arming.begin_pass(now_s)
        elif action == "tick":
            before_db = arming.fader_db
            position_db = arming.send(now_s)
            if position_db is None:
                continue
            assert was_armed
            assert now_s - audio_s <= AUDIO_TIMEOUT_S
            assert position_db - before_db <= min(now_s - moved_s, 0.25) + 1e-9
            risen_db = max(0.0, risen_db + position_db - before_db)
            moved_s = now_s
            assert risen_db <= arming.limits.total_up_db + 1e-9
