"""A pass that is over, on the screen."""

import asyncio

import numpy as np
import pytest
import scripted_feed as scenes
from driving import GENEROUS, settled, shown, until

from sidecar.model.readings import Reading
from sidecar.model.units import mean_square
from sidecar.run.review import FinishedPass, Review, integrated_history
from sidecar.settings.goals import load_goal
from tui.app import make_app
from tui.screens.goals import GoalDialog


@pytest.fixture
def review():
    """Two minutes at about −20 LUFS, a file whose fader is not known; one peak over the ceiling."""
    history = scenes.wandering_history(120.0, -20.0)
    energies = np.array([mean_square(float(level)) for level in history.short_term])
    integrated = integrated_history(energies)
    peaks = np.full(energies.size, -6.0)
    peaks[700] = -0.3
    reading = Reading(seconds=120.0, integrated=float(integrated[-1]), true_peak=(-0.3,), max_true_peak=-0.3)
    unknown = np.full(energies.size, np.nan, np.float32)
    history = type(history)(history.seconds, history.short_term, integrated, unknown)
    past = FinishedPass("mix.wav", 48_000, "mono", reading, history, energies, peaks, is_file=True)
    return Review(past, load_goal("r128"))


async def _looked_at(review, script):
    app = make_app(review, ascii_only=False, kind="past")
    async with app.run_test(size=GENEROUS) as pilot:
        await settled(pilot, GENEROUS[1] - 1)
        await script(pilot)


def _reading(app):
    """The line of the cursor."""
    return next((line for line in shown(app).splitlines() if "▴" in line and "short-term" in line), "")


def _run(review, script):
    asyncio.run(_looked_at(review, script))


@pytest.mark.slow
def test_a_review_shows_the_move_the_events_and_what_was_read(review):
    """The next pass's move, the peak over the ceiling on the history, and a cursor that knows of no fader."""

    async def script(pilot):
        text = shown(pilot.app)
        assert "■ ended  2:00 of 2:00" in text
        assert f"next pass: down {abs(review.snapshot().advice.from_top.gain_db):.1f} dB" in text
        assert "△ceiling −0.3 dBTP" in text
        await pilot.press("comma")
        await until(pilot, lambda: bool(_reading(pilot.app)), "the reading")
        assert "integrated −" in _reading(pilot.app)
        assert "fader" not in _reading(pilot.app)
        await pilot.press("m", "r", "plus", "space")
        assert "is over. Only" not in shown(pilot.app)

    _run(review, script)


@pytest.mark.slow
def test_another_goal_can_be_tried_on_it(review):
    """Chosen as in a run; the move that is shown is then for that goal."""

    async def script(pilot):
        await pilot.press("g")
        await until(pilot, lambda: isinstance(pilot.app.screen, GoalDialog), "the goals")
        await pilot.press("home", "enter")
        first = review.goals()[0]
        await until(pilot, lambda: review.snapshot().goal == first, "the goal")
        await until(
            pilot,
            lambda: f"{review.snapshot().advice.from_top.gain_db:.1f}".lstrip("-") in shown(pilot.app),
            "its move",
        )

    _run(review, script)
