"""What a long programme costs, counted and not timed: benchmarks/day_long.py runs a whole day."""

import tracemalloc

import numpy as np
import pytest

from sidecar.advising import Adviser
from sidecar.course import CourseLog
from sidecar.goals import load_goal
from sidecar.meter import Blocks, Meter
from sidecar.metering import Taken
from sidecar.sources import Block
from sidecar.vocabulary import Reading

HOUR = 36_000
NOTHING = Block(np.zeros((0, 2), np.float32))


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
def adviser():
    return Adviser(load_goal("r128"), 24 * 3600.0, None)


def test_the_look_back_costs_the_same_a_second_all_day(adviser, monkeypatch):
    """An answer looks at all that was heard; the longer that is, the less often it is asked for, so that in
    no hour more than some ten minutes of programme are looked at a second, on average."""
    now_s, looked_at_s = 0.0, []
    for _ in range(8):
        adviser.take(heard(3 * HOUR), NOTHING)
        monkeypatch.setattr(adviser.counsel, "next_pass", lambda: looked_at_s.append(adviser.counsel.seconds))
        monkeypatch.setattr(adviser.counsel, "this_pass", lambda: None)
        looked_at_s.clear()
        for _ in range(3600):
            now_s += 1.0
            adviser.look(now_s, at_rest=False)

        assert looked_at_s
        assert sum(looked_at_s) / 3600.0 < 620.0


def test_a_course_at_rest_is_searched_once(adviser, monkeypatch):
    """A paused programme does not change: hours of it are not searched for rides again and again."""
    adviser.take(heard(HOUR // 10), NOTHING)
    searches, search = [], adviser.counsel.rides
    monkeypatch.setattr(adviser.counsel, "rides", lambda: searches.append(1) or search())
    for now_s in range(600):
        adviser.look(float(now_s), at_rest=True)

    assert [1] == searches
    adviser.ask_soon()
    adviser.look(600.0, at_rest=True)
    assert [1, 1] == searches


@pytest.mark.parametrize(("part", "bytes_a_block"), [("advice", 12), ("course", 12), ("meter", 12)], ids=str)
def test_an_hour_takes_little_room(adviser, part, bytes_a_block):
    """Single precision where advice is made of it, no column twice; as much again where arrays have doubled
    and are not full, and what a look needs besides is a fixed amount."""
    fixed, hours = 4 << 20, 4
    course, meter = CourseLog(), Meter(48_000, "stereo")
    pieces = [heard(HOUR, seed) for seed in range(hours)]
    energies = np.concatenate([piece.mix.energy for piece in pieces])
    meter.restore(energies[:100], Reading(true_peak=(-1.0, -1.0)))  # compiled before it counts
    adviser.counsel.next_pass()
    tracemalloc.start()
    try:
        if part == "advice":
            for piece in pieces:
                adviser.take(piece, Block(NOTHING.frames, gain_db=0.0))
                adviser.counsel.next_pass()
        elif part == "course":
            for _ in range(hours * HOUR // 100):
                course.add(100, -23.0, -23.0, 0.0)
        else:
            meter.restore(energies, Reading(true_peak=(-1.0, -1.0)))
        kept, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()

    assert kept < fixed + 2 * bytes_a_block * hours * HOUR
