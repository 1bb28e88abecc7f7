"""Attacks on an armed fader: whole runs, real sockets, and a workstation that is not what it should be.

Each one once raised a fader by more than its ramp allows, or where nothing may rise. What the run says of
itself counts for nothing here: only what arrives at the workstation.
"""

import time

import numpy as np
import pytest
from armed_run import LEAP_DB, Run, noise, rises, settle
from simulated_workstation import Workstation

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def quiet(tmp_path_factory):
    return noise(tmp_path_factory.mktemp("noise") / "quiet.wav", (120, -40.0))


@pytest.mark.parametrize("address", ["/sidecar/fader", "/master/level"])
def test_nobody_else_can_say_where_the_workstation_s_fader_stands(quiet, address):
    """The workstation never speaks. A script says that its fader, which is at -60 dB, is at 0 dB."""
    with Workstation(-60.0, repeat_s=None) as workstation, Run(quiet, workstation) as run:
        for _ in range(10):
            run.send(address, 0.0)
            run.send("/sidecar/arm")
            run.send(address, 0.0)
            run.send("/sidecar/nudge", 0.25)
            time.sleep(0.1)
        settle()

    assert workstation.arrivals == []


@pytest.mark.parametrize("first", [(), ("/sidecar/arm", "/sidecar/disarm")])
def test_a_position_from_before_the_request_does_not_arm(quiet, first):
    """It said 0 dB, then its way back died and its fader was pulled down to -60 dB."""
    with Workstation(0.0) as workstation, Run(quiet, workstation) as run:
        workstation.report_to(run.address)
        run.wait_for(lambda: run.values.get("/sidecar/fader/now") == [0.0])
        settle(0.5)
        for command in first:
            run.send(command)
            settle(0.5)
        workstation.is_mute = True
        workstation.move_by_hand(-60.0)
        settle(0.5)
        run.send("/sidecar/arm")
        settle(0.3)
        run.send("/sidecar/nudge", 0.25)
        settle()

    assert workstation.arrivals == []


def test_disarming_and_arming_in_one_moment_does_not_leap_though_answers_are_late(quiet):
    """Down by 8 dB, and before the answer comes: disarm, arm, up."""
    with Workstation(0.0, late_s=0.8, repeat_s=None) as workstation, Run(quiet, workstation) as run:
        workstation.report_to(run.address)
        while workstation.fader_db > -7.0:  # a busy machine may lose audio on the way, which disarms
            run.arm(touch=lambda: workstation.move_by_hand(0.0))
            workstation.move_by_hand(0.0)
            settle(1.0)
            run.send("/sidecar/nudge", -8.0)
            run.wait_for(lambda: workstation.fader_db < -7.0 or not run.is_armed)
        for command in ("/sidecar/disarm", "/sidecar/arm"):
            run.send(command)
        for _ in range(20):
            run.send("/sidecar/nudge", 3.0)
            time.sleep(0.1)
        settle()

    assert min(arrival.after_db for arrival in workstation.arrivals) <= -7.0
    assert max(rises(workstation)) <= LEAP_DB


def test_a_rise_stops_short_of_an_answer_that_does_not_come(quiet):
    """In mid-rise the way back dies and a hand pulls the fader down: nothing lifts it far from there."""
    with Workstation(-20.0) as workstation, Run(quiet, workstation) as run:
        workstation.report_to(run.address)
        run.arm()
        run.send("/sidecar/nudge", 3.0)
        run.wait_for(lambda: workstation.fader_db > -19.5)
        workstation.is_mute = True
        mute_db = workstation.fader_db
        settle(3.0)

    assert workstation.fader_db <= mute_db + 0.5 + LEAP_DB
    assert not run.is_armed


@pytest.mark.parametrize(
    ("then_db", "reason"), [(-200.0, "silent"), (0.0, "ceiling"), (-6.0, "hot"), (np.nan, "silent")]
)
def test_a_rise_stops_where_nothing_may_rise(tmp_path, then_db, reason):
    """The nudge comes half a second before the programme falls silent, or passes the ceiling, or gets hot."""
    file = noise(tmp_path / "turns.wav", (6, -40.0), (20, then_db))
    with Workstation(-20.0) as workstation, Run(file, workstation) as run:
        workstation.report_to(run.address)
        run.arm()
        run.wait_for(lambda: run.seconds >= 5.5)
        run.send("/sidecar/nudge", 3.0)
        run.wait_for(lambda: run.seconds >= 6.1)
        reached_db = workstation.fader_db
        settle(3.0 if reason != "hot" else 0.0)
        if reason == "hot":  # short-term has to get there first
            run.wait_for(lambda: run.values["/sidecar/alert/hot"][0] == 1)
            reached_db = workstation.fader_db
        run.send("/sidecar/nudge", 3.0)
        settle(2.0)

    assert reached_db > -20.0
    assert workstation.fader_db <= reached_db + 0.35
