"""The limit on anything that drives a light.

Sources: WCAG 2.x success criterion 2.3.1 and ITU-R BT.1702: no more than three flashes in any one second.
Here each change counts, not each pair of them, so that no reading of "flash" is broken.
"""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.alerts.rules import FlashLimit

MOST_CHANGES = 3
WINDOW_S = 1.0
UNIT_S = 1 / 64  # exact in binary, so that windows can be compared without a tolerance


def changes(script) -> list[float]:
    """When the light changed, on a clock that only adds up the steps forward."""
    light = FlashLimit(0)
    now_s = elapsed_s = 0.0
    shown = 0
    changed_s = []
    for units, state in script:
        now_s += units * UNIT_S
        elapsed_s += max(0, units) * UNIT_S
        before, shown = shown, light.update(now_s, state)
        if shown != before:
            changed_s.append(elapsed_s)
    return changed_s


def most_in_a_window(changed_s: list[float]) -> int:
    """The highest number of changes in any window of one second, both ends included."""
    return max((sum(start <= at <= start + WINDOW_S for at in changed_s) for start in changed_s), default=0)


forward = st.tuples(st.integers(0, 80), st.integers(0, 2))
any_way = st.tuples(st.integers(-500, 80), st.integers(0, 2))


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(st.lists(forward, max_size=150))
def test_whatever_is_asked_for_a_light_changes_three_times_a_second_at_most(script):
    """No sequence of states and times gets a fourth change into any second."""
    assert most_in_a_window(changes(script)) <= MOST_CHANGES


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(st.lists(any_way, max_size=150))
def test_a_clock_that_steps_back_makes_no_light_flash(script):
    """Steps back, of any size, never buy a change."""
    assert most_in_a_window(changes(script)) <= MOST_CHANGES


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(st.lists(any_way, max_size=80), st.integers(0, 2))
def test_in_the_end_the_light_tells_the_truth(script, last):
    """A state that stays is shown after little more than a second, whatever came before."""
    light = FlashLimit(0)
    now_s = 0.0
    for units, state in script:
        now_s += units * UNIT_S
        light.update(now_s, state)
    light.update(now_s, last)

    assert last == light.update(now_s + WINDOW_S + UNIT_S, last)


def test_the_first_changes_pass_at_once():
    """The limit costs no time as long as nothing flashes."""
    light = FlashLimit("off")

    assert [light.update(at, state) for at, state in [(0.0, "on"), (0.25, "latched"), (0.5, "off")]] == [
        "on",
        "latched",
        "off",
    ]


def test_the_fourth_change_waits_until_the_second_is_over():
    """It passes once the first of the three has left the window, not before."""
    light = FlashLimit("off")
    for at, state in [(0.0, "on"), (0.25, "off"), (0.5, "on")]:
        light.update(at, state)

    assert [light.update(at, "off") for at in (0.75, 1.0, 1.0 + UNIT_S)] == ["on", "on", "off"]


def test_a_light_driven_as_fast_as_it_can_shows_three_changes_a_second():
    """Ten seconds of flicker at 64 changes a second come out as 30 changes, neither more nor none."""
    assert len(changes([(1, index % 2) for index in range(1, 10 * 64 + 1)])) == 30


def test_lights_side_by_side_share_a_limit():
    """Two lights that take turns are one flashing area to the eye: fed as a pair, they are limited as one."""
    pair = FlashLimit((False, False))
    turns = [(index % 2 == 0, index % 2 == 1) for index in range(32)]
    shown = [(False, False), *(pair.update(index * UNIT_S, turn) for index, turn in enumerate(turns))]

    assert sum(before != after for before, after in pairwise(shown)) == MOST_CHANGES
