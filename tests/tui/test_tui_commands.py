"""The list of commands, and the dialog in which every shape and colour is shown."""

import pytest
import scripted_feed as scenes
from driving import GENEROUS, drive, until
from textual.widgets import Input, OptionList, Static

from sidecar.model.commands import Follow, Mark, SelectGoal
from sidecar.model.readings import ALERT_NAMES
from sidecar.settings.taste import Taste
from tui.app import make_app
from tui.controller import Controller
from tui.drawing.cells import text_of
from tui.drawing.panels.legend import lamp_rows
from tui.keys import KEYS
from tui.palette import Palette
from tui.screens.commands import Commands
from tui.screens.main import MainScreen
from tui.theme import HIGH_COLOURS


def _listed(app):
    options = app.screen.query_one(OptionList).options
    return [str(option.prompt).split("\n")[0] for option in options]


async def _open(pilot):
    await pilot.press("colon")
    await until(pilot, lambda: isinstance(pilot.app.screen, Commands), "the list")
    await until(pilot, lambda: len(_listed(pilot.app)) > 3, "its commands")


@pytest.mark.slow
def test_every_command_that_does_something_is_listed_once_and_nothing_else():
    """Names and meanings of the keys, then the goals; no command of the toolkit's own."""

    async def script(pilot):
        await _open(pilot)
        listed = _listed(pilot.app)
        screen = pilot.app.screen_stack[1]
        named = {
            binding.description
            for binding in KEYS
            if screen.check_action(*_parsed(binding.action)) and binding.action != "commands"
        }
        goals = {f"Goal: {goal.title}" for goal in scenes.GOALS}
        assert set(listed) == (named - {"Back to now", "Quit at once"}) | goals
        assert len(listed) == len(set(listed))

    drive(scenes.down(), script, GENEROUS)


def _parsed(action):
    from textual.actions import parse

    _, name, parameters = parse(action)
    return name, parameters


@pytest.mark.slow
@pytest.mark.parametrize(
    ("typed", "command"),
    [
        ("mark", Mark()),
        ("spoken word", SelectGoal("speech")),
        ("advised move", Follow()),
    ],
)
def test_a_command_is_found_by_its_name_or_its_meaning(typed, command):
    """Part of either, then enter."""
    feed = scenes.down()

    async def script(pilot):
        await _open(pilot)
        pilot.app.screen.query_one(Input).value = typed
        await until(pilot, lambda: 0 < len(_listed(pilot.app)) < 9, "what fits")
        commands = pilot.app.screen.query_one(OptionList)
        await until(pilot, lambda: commands.highlighted is not None, "the one that fits best")
        await pilot.press("enter")
        await until(pilot, lambda: bool(feed.told), "the command")
        await until(pilot, lambda: isinstance(pilot.app.screen, MainScreen), "the instrument")

    drive(feed, script, GENEROUS)

    assert [command] == feed.told


@pytest.mark.slow
def test_nothing_moves_or_blinks():
    """No animation of the toolkit, and no cursor that blinks in a field (WCAG 2.2.2)."""

    async def script(pilot):
        assert pilot.app.animation_level == "none"
        await _open(pilot)
        assert not pilot.app.screen.query_one(Input).cursor_blink
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, MainScreen), "the instrument")
        await pilot.press("M")
        await until(pilot, lambda: bool(pilot.app.screen.query(Input)), "the field")
        assert not pilot.app.screen.query_one(Input).cursor_blink

    drive(scenes.down(), script)


def test_high_contrast_reaches_panels_and_dialogs():
    """Both are drawn with the inks of that table."""
    app = make_app(scenes.down(), taste=Taste(contrast="high"))

    assert HIGH_COLOURS["paper"] == app.current_theme.background
    assert Palette(HIGH_COLOURS).style("under") == app.palette.style("under")


def test_where_the_pass_is_over_no_key_is_offered_that_would_change_it():
    """Goals, log, rides and looking back stay."""
    feed = scenes.riding()
    feed.change(transport="ended")
    app = make_app(feed, kind="past")
    screen = MainScreen(app.controller, app.palette)
    offered = {binding.action for binding in KEYS if screen.check_action(*_parsed(binding.action))}

    assert {"goals", "log", "help", "leave", "first", "unit", "lamps"} <= offered
    assert not {
        action
        for action in offered
        if action.startswith(("tell", "move_fader", "log_fader", "reset", "label"))
    }


def test_every_alert_state_and_stand_is_in_the_test_of_looks():
    """Each alert off, on and held; each place with its shape; each beside its word."""
    text = "\n".join(text_of(row) for row in lamp_rows(Controller(scenes.down()).read_view(), 72))

    for name in ALERT_NAMES:
        assert f" {name} " in text
        assert f" {name.upper()} " in text
        assert f" {name} was " in text
    assert all(f"{word:<12}{shape}" in text for word, shape in _stands())
    assert "▣ ARMED" in text
    assert "▢ not armed" in text


def _stands():
    return (("under", "◁"), ("inside", "◇"), ("over", "▷"), ("ceiling", "△"))


@pytest.mark.parametrize("width", [52, 72, 92])
def test_the_test_of_looks_fits_its_box(width):
    """No row is wider than the box, so that nothing wraps; and nothing is cut."""
    rows = [text_of(row) for row in lamp_rows(Controller(scenes.down()).read_view(), width)]
    assert max(map(len, rows)) <= width
    words = {word for row in rows for word in row.split()}
    assert words >= {"ceiling", "gap", "goal", "pause", "paused", "ended", "light", "dBTP", "−17.2"}


@pytest.mark.slow
def test_the_test_of_looks_stands_still():
    """Whatever the run does meanwhile, the dialog shows the same."""
    feed = scenes.playing()

    async def script(pilot):
        await pilot.press("t")
        await until(pilot, lambda: bool(pilot.app.screen.query("#list")), "the dialog")
        before = pilot.app.screen.query_one("#list", Static).content
        looks = feed._looks
        await until(pilot, lambda: feed._looks > looks + 5, "some looks")
        assert before is pilot.app.screen.query_one("#list", Static).content

    drive(feed, script)
