"""What a long programme costs, counted and not timed: benchmarks/day_long.py runs a whole day."""

import tracemalloc

import numpy as np
import pytest

from sidecar.advice.programme.history import History
from sidecar.loudness.gating import Powers, gating_powers
from sidecar.meter import Blocks, Meter
from sidecar.model.readings import Reading
from sidecar.run.advising import AdviceSchedule
from sidecar.run.metering import Taken
from sidecar.run.timeline import TimelineLog
from sidecar.settings.goals import load_goal
from sidecar.sources import Block

HOUR, HOURS = 36_000, 12
NOTHING = Block(np.zeros((0, 2), np.float32), gain_db=0.0)
"""The fader is reported, so that no sound is searched for its moves."""


def heard(blocks, seed=1):
    """So many blocks of a programme that wanders."""
    rng = np.random.default_rng(seed)
    level = np.repeat(rng.normal(-24.0, 6.0, blocks // 100 + 1), 100)[:blocks] + rng.normal(0.0, 2.0, blocks)
    peak = np.full(blocks, -9.0)
    energy = 10.0 ** (level / 10.0)
    return Taken(
        Blocks(
            energy=energy,
            channel_energy=energy[:, None],
            true_peak=peak,
            true_peaks=peak[:, None],
            momentary=level,
            short_term=level,
        )
    )


@pytest.fixture
def advice():
    return AdviceSchedule(load_goal("r128"), 24 * 3600.0, None)


@pytest.mark.slow
def test_the_look_back_costs_the_same_a_second_all_day(advice, monkeypatch):
    """An answer looks at all that was heard; the longer that is, the less often it is asked for, so that in
    no hour more than some ten minutes of programme are looked at a second, on average."""
    now_s, looked_at_s = 0.0, []
    for hours in (3, 9, 12):
        advice.push_blocks(heard(hours * HOUR), NOTHING)
        monkeypatch.setattr(
            advice.advisor, "outlook", lambda _, at_rest: looked_at_s.append(advice.advisor.seconds)
        )
        looked_at_s.clear()
        for _ in range(3600):
            now_s += 1.0
            advice.update_advice(now_s, at_rest=False)

        assert looked_at_s
        assert sum(looked_at_s) / 3600.0 < 620.0


@pytest.mark.slow
def test_a_history_at_rest_is_searched_once(advice, monkeypatch):
    """A paused programme does not change: hours of it are not searched for rides again and again."""
    advice.push_blocks(heard(HOUR // 10), NOTHING)
    searches, search = [], advice.advisor.rides
    monkeypatch.setattr(advice.advisor, "rides", lambda: searches.append(1) or search())
    for now_s in range(600):
        advice.update_advice(float(now_s), at_rest=True)

    advice.ask_soon()  # as after a mark: the programme is the same
    advice.update_advice(600.0, at_rest=True)
    assert searches == [1]
    advice.use_goal(load_goal("a85"))
    advice.update_advice(601.0, at_rest=True)
    assert searches == [1, 1]


def test_what_is_to_come_is_judged_by_the_latest_four_hours():
    """A look at a long day takes no more room than one at four hours; no gating block spans a cut."""
    history, energies = History(), heard(9 * HOUR).mix.energy
    history.push(energies[: 8 * HOUR], 0.0, None)
    history.splice()
    for first in range(8 * HOUR, 9 * HOUR, HOUR // 10):
        history.push(energies[first : first + HOUR // 10], 0.0, None)

    expected = np.concatenate([gating_powers(energies[: 8 * HOUR]), gating_powers(energies[8 * HOUR :])])
    np.testing.assert_array_equal(expected[-4 * HOUR :], history.known_in_time)


@pytest.mark.slow
def test_a_day_is_not_searched_for_rides(advice, monkeypatch):
    """Neither a pause nor the end of a long run waits minutes for rides not asked for: it says so."""
    advice.push_blocks(heard(4 * HOUR + 10), NOTHING)
    monkeypatch.setattr(advice.advisor, "rides", lambda: pytest.fail("the search began"))
    advice.update_advice(0.0, at_rest=True)

    assert advice.rides == ()
    assert "more than 4 h" in advice.rides_reason


def advice_of_hours(advice):
    for seed in range(HOURS):
        advice.push_blocks(heard(HOUR, seed), Block(NOTHING.frames, gain_db=-float(seed)))
        advice.advisor.next_pass()
        advice.advisor.this_pass()
    return advice


def history_of_hours(_):
    history = TimelineLog()
    for minute in range(HOURS * 60):
        history.add_columns(HOUR // 60, -23.0, -23.0, -float(minute))
    return history


def meter_of_hours(_):
    meter = Meter(48_000, "stereo")
    energies = np.concatenate([heard(HOUR, seed).mix.energy for seed in range(HOURS)])
    meter.restore(energies, Reading(true_peak=(-1.0, -1.0)))
    return meter


@pytest.mark.slow
@pytest.mark.parametrize(
    ("part", "most_bytes"),
    [
        # energies, the peak of each second; and what gates need of more than an hour, whatever its length
        (advice_of_hours, 5.0 * HOURS * HOUR + 5 * 2**20),
        # short-term and integrated, with room for a whole day
        (history_of_hours, 8.0 * 24 * HOUR + 2**17),
        # gating blocks, and at most as much again that is still free
        (meter_of_hours, 2 * 4.3 * HOURS * HOUR + 2**20),
    ],
    ids=["advice", "history", "meter"],
)
def test_hours_take_little_room(advice, part, most_bytes):
    """Every number is kept once, in single precision where advice is made of it, and the fader where it
    moves: some 17 bytes for each 100 ms."""
    Meter(48_000, "stereo").restore(np.ones(100), Reading(true_peak=(-1.0, -1.0)))
    advice.advisor.next_pass()  # all is loaded and compiled before it counts
    tracemalloc.start()
    try:
        held = part(advice)
        kept, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()

    assert held is not None
    assert kept < most_bytes


@pytest.mark.slow
def test_what_nobody_asks_for_is_not_heaped_up():
    """Without a length there is no landing of this pass, and its gating blocks are put in order all the same:
    rows of one block each would take more room than all else."""
    powers = Powers()
    one = np.full(1, 0.01)
    tracemalloc.start()
    try:
        for _ in range(3 * HOUR):
            powers.append(one.copy())
        kept, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()

    assert kept < 2 * 2**20


@pytest.mark.slow
def test_a_look_at_a_day_takes_little_room_besides(advice):
    """An answer brings all that was heard together once, and no more: what it takes for a moment is memory
    that the run is seen to take."""
    for seed in range(24):
        advice.push_blocks(heard(HOUR, seed), NOTHING)
    advice.advisor.next_pass()
    tracemalloc.start()
    try:
        advice.advisor.next_pass()
        advice.advisor.this_pass()
        _, highest = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()

    assert highest < 2 * 2**20 + 8 * 24 * HOUR
