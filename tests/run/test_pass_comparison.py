"""A long earlier pass is compared beside the measuring."""

import threading

import numpy as np
import pytest

from sidecar.advice.programme.advisor import Earlier
from sidecar.advice.programme.earlier_pass import NOT_COMPARED, Comparison, EarlierFit, Heard, compare
from sidecar.advice.programme.performance import ALIKE
from sidecar.run.advising import AdviceSchedule
from sidecar.run.pass_comparison import PassComparison
from sidecar.settings.goals import load_goal

LONG, SHORT = np.ones(36_001), np.ones(600)
HEARD = Heard(np.ones(300), 0, 300)
FOUND = Comparison(EarlierFit(1.5, 0.1, ALIKE, fits=True), None)
WAIT_S = 20.0


class Gate:
    """A comparison that takes until it is opened."""

    def __init__(self):
        self.threads, self.opened, self.entered = [], threading.Event(), threading.Event()

    def __call__(self, profile, heard):
        self.threads.append(threading.current_thread())
        self.entered.set()
        assert self.opened.wait(WAIT_S)
        return FOUND


def is_ready_in_time(comparison, profile=LONG):
    """Asks until it is ready, as updates do."""
    ticks = threading.Event()
    return any(comparison.is_ready(profile, lambda: HEARD) or ticks.wait(0.01) for _ in range(2000))


def test_the_caller_never_waits_for_a_long_pass():
    gate = Gate()
    comparison = PassComparison(gate)

    ready = [comparison.is_ready(LONG, lambda: HEARD) for _ in range(3)]
    assert gate.entered.wait(WAIT_S)
    assert (ready, comparison(LONG, HEARD)) == ([False] * 3, NOT_COMPARED)

    gate.opened.set()
    assert is_ready_in_time(comparison)
    assert comparison(LONG, HEARD) == FOUND
    assert len(gate.threads) == 1
    assert gate.threads[0] is not threading.current_thread()


def test_another_earlier_pass_gets_no_result_of_the_one_before():
    comparison = PassComparison(lambda profile, heard: FOUND)
    assert is_ready_in_time(comparison)

    assert comparison(LONG.copy(), HEARD) == NOT_COMPARED
    assert not comparison.is_ready(LONG.copy(), lambda: HEARD)


@pytest.mark.parametrize(("profile", "beside"), [(SHORT, True), (LONG, False)])
def test_a_short_pass_or_a_run_in_programme_time_is_compared_at_once(profile, beside):
    threads = []
    comparison = PassComparison(
        lambda profile, heard: threads.append(threading.current_thread()) or FOUND, beside=beside
    )

    assert comparison.is_ready(profile, lambda: HEARD)
    assert comparison(profile, HEARD) == FOUND
    assert threads == [threading.current_thread()]


def test_a_fault_in_the_thread_comes_out_where_it_is_asked_for():
    def fail(profile, heard):
        raise ValueError("no pass")

    comparison = PassComparison(fail)
    with pytest.raises(ValueError, match="no pass"):
        is_ready_in_time(comparison)


def test_a_run_goes_on_until_a_day_is_compared_and_then_knows_the_rest(monkeypatch):
    rng = np.random.default_rng(5)
    hour = 10.0 ** ((rng.normal(-24.0, 3.0, 1801).repeat(20)) / 10.0)
    opened = threading.Event()
    monkeypatch.setattr(
        "sidecar.run.advising.PassComparison",
        lambda beside: PassComparison(lambda *given: opened.wait(WAIT_S) and compare(*given), beside=beside),
    )
    schedule = AdviceSchedule(load_goal("r128"), None, Earlier("yesterday", hour))
    schedule.advisor.push_blocks(hour[:1200], np.full(1200, -10.0), 0.0)

    for now_s in range(5):
        schedule.update_advice(float(now_s), at_rest=False)
    before = schedule.advice
    opened.set()
    ticks = threading.Event()
    for _ in range(2000):
        schedule.update_advice(5.0, at_rest=False)
        if schedule.advice != before or ticks.wait(0.01):
            break

    assert before.state == "listening"
    assert schedule.earlier_pass.fits
    assert schedule.advice.move.landing_high - schedule.advice.move.landing_low < 1.0
