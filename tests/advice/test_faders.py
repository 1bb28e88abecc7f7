"""Fader travel, limits and ramps."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidecar.advice.faders.tapers import CONSOLE_TRAVEL, FaderLimits, Ramp, Taper
from sidecar.errors import SettingsError

TAPER = Taper()


def test_a_console_travel_has_unity_at_three_quarters_and_ten_at_the_top():
    """Unity is at 3/4 of the travel, +10 dB at the top (common practice, no source)."""
    assert [-math.inf, 0.0, 10.0] == [TAPER.gain_db(position) for position in (0.0, 0.75, 1.0)]


def test_one_decibel_near_unity_takes_about_a_fortieth_of_the_travel():
    """1 dB near unity is 2 to 2.5 % of the travel, far less below (common practice, no source)."""
    near = TAPER.position(1.0) - TAPER.position(0.0)
    far = TAPER.position(-39.0) - TAPER.position(-40.0)

    assert 0.02 - 1e-9 <= near <= 0.025 + 1e-9
    assert far < near / 2


@given(st.floats(-140.0, 10.0))
def test_a_level_survives_the_way_to_a_position_and_back(gain_db: float):
    """dB → position → dB is exact, even below the last point of the table."""
    assert TAPER.gain_db(TAPER.position(gain_db)) == pytest.approx(gain_db, abs=1e-9)


@given(st.floats(0.0, 1.0))
def test_a_position_survives_the_way_to_a_level_and_back(position: float):
    """Position → dB → position is exact over the whole travel, both ends included."""
    assert TAPER.position(TAPER.gain_db(position)) == pytest.approx(position, abs=1e-12)


@given(st.floats(1e-6, 1.0), st.floats(1e-6, 1.0))
def test_higher_on_the_travel_is_louder(one: float, other: float):
    """The travel is strictly monotonic."""
    low, high = sorted((one, other))

    assert (TAPER.gain_db(low) < TAPER.gain_db(high)) == (high - low > 1e-12) or high - low < 1e-12


def test_the_travel_has_no_jump_at_its_lowest_point():
    """Where the table ends and the fall into silence begins, both sides meet."""
    lowest_db, lowest = CONSOLE_TRAVEL[0]

    assert TAPER.gain_db(lowest * (1 - 1e-9)) == pytest.approx(lowest_db, abs=1e-6)
    assert TAPER.gain_db(lowest * (1 + 1e-9)) == pytest.approx(lowest_db, abs=1e-6)


def test_levels_beyond_the_travel_stand_at_its_ends():
    """A level above the top is at the top; silence at the bottom; positions are held to 0 … 1."""
    assert [TAPER.position(24.0), TAPER.position(-math.inf)] == [1.0, 0.0]
    assert [10.0, -math.inf] == [TAPER.gain_db(1.7), TAPER.gain_db(-0.2)]


def test_what_is_no_number_stands_at_the_bottom():
    """NaN from a broken surface never becomes level."""
    assert [TAPER.position(math.nan), TAPER.gain_db(math.nan)] == [0.0, -math.inf]


@pytest.mark.parametrize(
    "points",
    [
        [(0.0, 1.0)],
        [(-10.0, 0.5), (-10.0, 1.0)],
        [(-10.0, 0.5), (0.0, 0.5), (10.0, 1.0)],
        [(-10.0, 0.0), (10.0, 1.0)],
        [(-math.inf, 0.1), (10.0, 1.0)],
        [(-10.0, 0.5), (math.nan, 1.0)],
        [(-10.0, 0.5), (10.0, 0.9)],
    ],
)
def test_a_travel_that_does_not_rise_to_the_top_is_refused(points: list[tuple[float, float]]):
    """A table that cannot be inverted is refused with a sentence, not used."""
    with pytest.raises(SettingsError, match="travel"):
        Taper(points)


@pytest.mark.parametrize(
    ("position_db", "change_db", "expected"),
    [
        (0.0, 1.0, (1.0, None)),
        (0.0, 5.0, (3.0, "step")),
        (8.5, 2.0, (1.5, "range")),
        (0.0, -20.0, (-6.0, "step")),
        (-58.0, -5.0, (-2.0, "range")),
        (12.0, 1.0, (0.0, "range")),
        (12.0, -1.0, (-1.0, None)),
        (-70.0, -1.0, (0.0, "range")),
    ],
)
def test_a_move_is_cut_to_the_step_and_the_range(
    position_db: float, change_db: float, expected: tuple[float, str | None]
):
    """What one move may do, and what cut it."""
    assert FaderLimits().within(position_db, change_db) == expected


@pytest.mark.parametrize(
    "settings",
    [{"step_up_db": -1.0}, {"total_up_db": math.inf}, {"lowest_db": 11.0}, {"lowest_db": -math.inf}],
)
def test_limits_that_make_no_sense_are_refused(settings: dict[str, float]):
    """A limit that limits nothing, or leaves no range, is refused."""
    with pytest.raises(SettingsError):
        FaderLimits(**settings)


@given(
    st.floats(-60.0, 10.0),
    st.lists(st.tuples(st.floats(0.0, 5.0), st.floats(-80.0, 12.0)), min_size=1, max_size=30),
)
def test_a_ramp_rises_by_a_decibel_a_second_at_most(start_db: float, steps: list[tuple[float, float]]):
    """Whatever is asked, at whatever times, no step up is faster than 1 dB/s, and none passes its target."""
    ramp = Ramp(start_db, 0.0)
    now_s = 0.0
    for elapsed_s, target_db in steps:
        now_s += elapsed_s
        later = ramp.towards(target_db, now_s)
        rise_db = later.position_db - max(ramp.position_db, Ramp.FLOOR_DB)
        assert rise_db <= elapsed_s + 1e-9
        assert min(ramp.position_db, target_db) <= later.position_db <= max(ramp.position_db, target_db)
        ramp = later


def test_a_ramp_that_slept_does_not_leap():
    """After a pause of a minute the ramp goes on by a quarter of a second's worth."""
    assert Ramp(0.0, 0.0).towards(10.0, 60.0).position_db == pytest.approx(0.25)


def test_a_clock_that_runs_backwards_moves_nothing():
    """A time before the last one changes neither position nor time."""
    assert Ramp(1.0, 10.0) == Ramp(1.0, 10.0).towards(5.0, 9.0)


def test_a_ramp_falls_faster_than_it_rises_and_ends_in_silence():
    """Down goes at 10 dB/s and, under the floor, straight to silence; up starts from the floor."""
    falling = Ramp(0.0, 0.0).towards(-20.0, 0.1)
    silent = Ramp(-59.5, 0.0).towards(-math.inf, 0.2)
    rising = silent.towards(0.0, 0.4)

    assert [-1.0, -math.inf, -59.8] == [pytest.approx(ramp.position_db) for ramp in (falling, silent, rising)]
