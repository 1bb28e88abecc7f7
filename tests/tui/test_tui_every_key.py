"""Every key of the table is pressed once, in a scene where it does something."""

from pathlib import Path

import pytest
import scripted_feed as scenes
from driving import GENEROUS, drive, until
from textual.widgets import OptionList

from sidecar.model.commands import (
    Acknowledge,
    Command,
    Continue,
    Disarm,
    Follow,
    Mark,
    MarkDialogue,
    Nudge,
    Pause,
    Reset,
    ResetPeaks,
    SelectGoal,
    Start,
)
from sidecar.model.snapshot import PastPass
from tui.drawing.panels.history import GUTTER
from tui.keys import KEYS
from tui.screens.arm import ArmDialog
from tui.screens.commands import Commands
from tui.screens.goals import GoalDialog
from tui.screens.help import HelpDialog
from tui.screens.label import LabelDialog
from tui.screens.lamps import LampDialog
from tui.screens.listing import BalanceDialog, RidesDialog
from tui.screens.log import LogDialog
from tui.screens.main import MainScreen
from tui.screens.passes import PassesDialog
from tui.screens.question import LeaveDialog, ResetDialog


def _cursor(low_s, high_s):
    """The cursor is between these moments, both of them included."""
    return lambda app: (
        app.controller.cursor.at_s is not None and low_s <= app.controller.cursor.at_s <= high_s
    )


def _no_cursor(app):
    return app.controller.cursor.at_s is None


def _view(**look):
    return lambda app: all(getattr(app.controller.read_view(), name) == value for name, value in look.items())


def _in_state(transport):
    feed = scenes.riding()
    feed.change(transport=transport)
    return feed


def _measured_whole():
    """A live input goes on, and the pass whose length was given is over."""
    feed = scenes.failed()
    feed.change(transport="measuring")
    return feed


def _by_hand():
    feed = scenes.down()
    feed.change(controls_fader=False)
    return feed


def _fader_keys(action):
    return [
        ("plus", f"{action}(0.5)", Nudge(0.5)),
        ("equals_sign", f"{action}(0.5)", Nudge(0.5)),
        ("minus", f"{action}(-0.5)", Nudge(-0.5)),
        ("up", f"{action}(0.1)", Nudge(0.1)),
        ("down", f"{action}(-0.1)", Nudge(-0.1)),
    ]


def _second_pass():
    feed = scenes.down()
    feed.change(passes=(PastPass(1, "2026-03-01 20:15", "mix.wav", "production", 60.0, -23.0, 5.0, -2.0),))
    return feed


# Scene, then (key, action, what it must come to), in the order in which they are pressed.
PRESSED = {
    "measuring": (
        scenes.riding,
        [
            ("space", "tell('pause')", Pause()),
            ("m", "tell('mark', '')", Mark()),
            ("d", "dialogue", MarkDialogue(True)),
            ("f", "tell('follow')", Follow()),
            *_fader_keys("move_fader"),
            ("r", "reset", ResetDialog),
            ("p", "tell('peak reset')", ResetPeaks()),
            ("g", "goals", GoalDialog),
            ("M", "label", LabelDialog),
            ("i", "rides", RidesDialog),
            ("l", "log", LogDialog),
            ("t", "lamps", LampDialog),
            ("h", "help", HelpDialog),
            ("question_mark", "commands", Commands),
            ("colon", "commands", Commands),
            ("ctrl+p", "commands", Commands),
            ("c", "copy", lambda app: "integrated −22.1 LUFS" in app.clipboard),
            ("S", "still", lambda _: len(list(Path.cwd().glob("sidecar-*.svg"))) == 1),
            ("k", "contrast", lambda app: app.current_theme.name == "dark-high"),
            ("o", "ground", lambda app: app.controller.taste.ground == "dark"),
            ("u", "unit", _view(relative=True)),
            ("s", "scale", _view(reach_lu=36.0)),
            ("left_square_bracket", "zoom(-1)", _view(zoom_s=120.0)),
            ("right_square_bracket", "zoom(1)", _view(zoom_s=None)),
            ("left", "look(-1)", _cursor(184.0, 184.0)),
            ("right", "look(1)", _cursor(184.0, 184.0)),
            ("shift+left", "look(-10)", _cursor(150.0, 180.0)),
            ("shift+right", "look(10)", _cursor(183.9, 184.0)),
            ("pageup", "page(-1)", _cursor(0.0, 100.0)),
            ("home", "first", _cursor(0.0, 0.0)),
            ("pagedown", "page(1)", _cursor(100.0, 184.0)),
            ("escape", "now", _no_cursor),
            ("comma", "jump(-1)", _cursor(100.0, 183.0)),
            ("end", "now", _no_cursor),
            ("home", "first", _cursor(0.0, 0.0)),
            ("full_stop", "jump(1)", _cursor(0.1, 60.0)),
        ],
    ),
    "preparing": (lambda: _in_state("preparing"), [("space", "tell('start')", Start())]),
    "paused": (lambda: _in_state("paused"), [("space", "tell('continue')", Continue())]),
    "alerted": (scenes.alerted, [("a", "tell('acknowledge')", Acknowledge())]),
    "after a pass": (_second_pass, [("e", "passes", PassesDialog)]),
    "stems": (scenes.stems, [("b", "balance", BalanceDialog)]),
    "by hand": (_by_hand, _fader_keys("log_fader")),
    "unarmed": (scenes.unarmed, [("x", "arm", ArmDialog)]),
    "arming": (scenes.arming, [("x", "cancel", Disarm())]),
    "measured whole": (_measured_whole, [("r", "next_pass", Reset())]),
    "over": (scenes.failed, [("space", "again(False)", lambda app: app.return_value == -3.5)]),
    "over, with another fader": (
        scenes.failed,
        [("f", "again(True)", lambda app: app.return_value == pytest.approx(-5.6))],
    ),
    "armed": (scenes.armed, [("x", "tell('disarm')", Disarm())]),
    "leaving": (scenes.down, [("q", "leave", LeaveDialog)]),
    "leaving too": (scenes.down, [("ctrl+c", "leave", LeaveDialog)]),
}


async def _press(pilot, feed, key, expected):
    told = len(feed.told)
    await pilot.press(key)
    if isinstance(expected, Command):
        await until(pilot, lambda: [expected] == feed.told[told:], f"{key}: {expected}")
    elif isinstance(expected, type):
        await until(pilot, lambda: isinstance(pilot.app.screen, expected), f"{key}: {expected}")
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, MainScreen), f"the end of {expected}")
        assert told == len(feed.told)
    else:
        await until(pilot, lambda: expected(pilot.app), key)


@pytest.mark.slow
@pytest.mark.parametrize("name", list(PRESSED))
def test_each_key_does_what_the_table_says(name, tmp_path, monkeypatch):
    """One command leaves, one dialog opens and escape closes it, or the look changes."""
    monkeypatch.chdir(tmp_path)
    scene, presses = PRESSED[name]
    feed = scene()

    async def script(pilot):
        for key, _, expected in presses:
            await _press(pilot, feed, key, expected)

    drive(feed, script, GENEROUS, kind="rehearsal" if name.startswith("over") else "live")


def test_no_key_is_left_out():
    """A key that is added to the table has to be pressed here, with what it does."""
    pressed = {(key, action) for _, presses in PRESSED.values() for key, action, _ in presses}

    assert {(key, binding.action) for binding in KEYS for key in binding.key.split(",")} == pressed


def _footer_key(app, key):
    from textual.widgets._footer import FooterKey

    return next((one for one in app.screen.query(FooterKey) if one.key == key and one.region.right), None)


BY_MOUSE = [
    ("r", ResetDialog, "n"),
    ("g", GoalDialog, "escape"),
    ("l", LogDialog, "escape"),
    ("h", HelpDialog, "escape"),
]


@pytest.mark.slow
def test_dialogs_are_opened_and_closed_with_the_mouse_alone():
    """Their keys in the footer open them, and their own footers close them; nothing else is sent."""
    feed = scenes.down()

    async def script(pilot):
        for opening, dialog, closing in BY_MOUSE:
            await until(pilot, lambda: _footer_key(pilot.app, "f") is not None, "the footer of this scene")
            await pilot.click(_footer_key(pilot.app, opening))
            await until(pilot, lambda kind=dialog: isinstance(pilot.app.screen, kind), opening)
            await until(pilot, lambda key=closing: _footer_key(pilot.app, key) is not None, "its footer")
            await pilot.click(_footer_key(pilot.app, closing))
            await until(pilot, lambda: isinstance(pilot.app.screen, MainScreen), "the instrument")

    drive(feed, script, GENEROUS)

    assert feed.told == []


@pytest.mark.slow
def test_a_goal_is_chosen_with_a_click():
    """The row under the pointer."""
    feed = scenes.down()

    async def script(pilot):
        await pilot.press("g")
        await until(pilot, lambda: isinstance(pilot.app.screen, GoalDialog), "the list")
        options = pilot.app.screen.query_one(OptionList)
        await until(pilot, lambda: options.region.height >= 3, "its rows")
        await pilot.click(OptionList, offset=(4, 2))
        await until(pilot, lambda: bool(feed.told), "the goal")

    drive(feed, script, GENEROUS)

    assert [SelectGoal("speech")] == feed.told


@pytest.mark.slow
def test_a_click_ahead_of_now_or_on_the_axis_reads_at_now_or_not_at_all():
    """There is nothing to be read where nothing was measured yet; the axis is no time."""

    async def script(pilot):
        await pilot.click("#historypanel", offset=(GUTTER - 2, 3))
        await pilot.press("u")
        assert pilot.app.controller.cursor.at_s is None
        await pilot.click("#historypanel", offset=(GUTTER + 110, 3))
        await until(pilot, lambda: _cursor(184.0, 184.0)(pilot.app), "the cursor at now")

    drive(scenes.down(), script, GENEROUS)
