"""Leave to move a fader, and what rides and stems need, under hands."""

import pytest
import scripted_feed as scenes
from driving import COMPACT, drive, rows_shown, shown, told_after, until
from textual.widgets import Static

from sidecar.advice.faders.auto_follow import LOOK_S
from sidecar.model.commands import Arm, Disarm, Follow
from sidecar.model.snapshot import Opening
from tui import texts
from tui.screens.arm import ArmDialog
from tui.screens.listing import BalanceDialog, RidesDialog
from tui.screens.main import MainScreen


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["live", "attached"])
def test_arming_asks_first_and_shows_caution_and_limits(kind):
    """Each time; on a screen elsewhere also for the people in that room."""

    async def script(pilot):
        await pilot.press("x")
        await until(pilot, lambda: isinstance(pilot.app.screen, ArmDialog), "the question")
        asked = str(pilot.app.screen.query_one("#box Static", Static).content)
        assert "Allow automatic moves of the master fader, up and down?" in asked
        assert "studio desk: up by 3 dB a step, 6 dB in all, 1 dB/s." in asked
        assert "hurt ears and loudspeakers" in asked
        assert f"automatic moves start after {LOOK_S:g} s" in asked
        assert ("Has someone in that room agreed?" in asked) == (kind == "attached")
        assert feed.told == []

    feed = scenes.unarmed()
    drive(feed, script, kind=kind)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("keys", "told"),
    [
        (["x", "y"], [Arm()]),
        (["x", "n"], []),
        (["x", "x"], []),
        (["x", "escape"], []),
        (["x", "enter"], []),
    ],
)
def test_only_yes_arms(keys, told):
    """Enter, pressed out of habit, gives no leave."""
    assert told == told_after(scenes.unarmed(), *keys)


@pytest.mark.slow
def test_disarming_acts_at_once():
    """Whoever is startled presses one key."""
    assert [Disarm()] == told_after(scenes.armed(), "x")


@pytest.mark.slow
def test_without_a_surface_there_is_nothing_to_arm():
    """No question is put that leads nowhere."""
    assert told_after(scenes.down(), "x", "y") == []


@pytest.mark.slow
def test_an_armed_fader_can_be_followed():
    """With leave the move can be made from here, without it not."""
    assert [Follow()] == told_after(scenes.armed(), "f")
    assert told_after(scenes.unarmed(), "f") == []


def test_a_move_of_a_stem_is_not_followed_from_here():
    """The master fader must not move where a stem's was shown."""
    feed = scenes.stems()
    feed.change(controls_fader=True)

    assert told_after(feed, "f") == []


@pytest.mark.slow
def test_the_rides_are_listed_and_kept_up_to_date():
    """When, how long, how far and how fast, with the reason; a new plan takes its place."""
    feed = scenes.riding()

    async def script(pilot):
        await pilot.press("i")
        await until(pilot, lambda: isinstance(pilot.app.screen, RidesDialog), "the list")
        await until(
            pilot, lambda: "1:35      0.4 s       ▼ −4.0 dB     0.2 s" in _listed(pilot.app), "a ride"
        )
        assert "Three rides bring short-term under −18.0 LUFS" in _listed(pilot.app)
        assert texts.LOUDER in _listed(pilot.app)
        feed.change(rides=(), rides_reason="Nothing needs to be ridden.")
        await until(pilot, lambda: "Nothing needs to be ridden." in _listed(pilot.app), "the new plan")
        assert "▼" not in _listed(pilot.app)
        await pilot.press("i")
        await until(pilot, lambda: isinstance(pilot.app.screen, MainScreen), "the instrument again")

    drive(feed, script)


@pytest.mark.slow
def test_the_balance_from_silence_is_listed_in_its_order_with_the_caution():
    """Close all, then which fader to bring up to where; offered only where stems are measured."""
    feed = scenes.stems()

    async def script(pilot):
        await pilot.press("b")
        await until(pilot, lambda: isinstance(pilot.app.screen, BalanceDialog), "the list")
        await until(pilot, lambda: "Listening: each stem" in _listed(pilot.app), "nothing yet")
        feed.change(
            build_up=(Opening("voice", -4.0, "voice to −4.0 dB"), Opening("drums", 1.0, "drums to 1"))
        )
        await until(pilot, lambda: " 1  voice to −4.0 dB\n 2  drums to 1" in _listed(pilot.app), "the order")
        assert "Turn the monitors down first" in _listed(pilot.app)
        await pilot.press("b")
        await until(pilot, lambda: isinstance(pilot.app.screen, MainScreen), "the instrument again")
        feed.change(stems=())
        await until(pilot, lambda: "drums" not in shown(pilot.app), "the mix alone")
        await pilot.press("b")
        assert isinstance(pilot.app.screen, MainScreen)

    drive(feed, script)


def _listed(app):
    return str(app.screen.query_one("#list", Static).content)


@pytest.mark.slow
def test_panels_come_and_go_with_what_they_show():
    """The table of stems makes itself room, and gives it back to the history when it goes."""
    feed = scenes.down()

    async def script(pilot):
        feed.change(stems=scenes.stems().shown.stems)
        await until(pilot, lambda: "drums" in shown(pilot.app), "the stems")
        assert COMPACT[1] - 1 == rows_shown(pilot.app)
        feed.change(stems=())
        await until(pilot, lambda: "drums" not in shown(pilot.app) and "whole" in shown(pilot.app), "history")
        assert COMPACT[1] - 1 == rows_shown(pilot.app)

    drive(feed, script)


def test_all_sixteen_stems_are_on_the_smallest_full_screen():
    """Each with its name, at 80×24, and none is only counted."""
    feed = scenes.many_stems(16)
    names = [stem.name[:9] for stem in feed.shown.stems]

    async def script(pilot):
        await until(pilot, lambda: all(name in shown(pilot.app) for name in names), "all stems")

    drive(feed, script)
