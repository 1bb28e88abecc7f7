"""The screen under hands: every key, both sizes, faults."""

import re

import pytest
import scripted_feed as scenes
from driving import COMPACT, GENEROUS, drive, rows_shown, settled, shown, told_after, until
from textual.widgets import Footer, Input, OptionList
from textual.widgets._footer import FooterKey, FooterLabel

from sidecar.model.advice import Advice
from sidecar.model.commands import Acknowledge, Mark, Reset, SelectGoal
from sidecar.model.readings import Move, Reading
from tui.keys import KEYS, explained
from tui.screens.commands import Commands
from tui.screens.goals import GoalDialog
from tui.screens.help import HelpDialog
from tui.screens.label import LabelDialog
from tui.screens.main import MainScreen
from tui.screens.question import LeaveDialog, ResetDialog
from tui.widgets.panel import Panel
from tui.widgets.scales import Scales


@pytest.mark.slow
@pytest.mark.parametrize(
    ("keys", "command"),
    [
        (["r", "y"], Reset()),
        (["r", "enter"], Reset()),
        (["M", "h", "i", "enter"], Mark("hi")),
        (["M", "enter"], Mark()),
        (["g", "down", "enter"], SelectGoal("exchange")),
    ],
)
def test_a_dialogs_answer_becomes_its_command(keys, command):
    """Exactly one command leaves for what was chosen, typed or confirmed."""
    assert [command] == told_after(scenes.down(), *keys)


@pytest.mark.slow
@pytest.mark.parametrize(
    "keys",
    [
        ["r", "n"],
        ["r", "escape"],
        ["g", "escape"],
        ["i", "escape"],
        ["M", "x", "escape"],
        ["question_mark", "escape"],
    ],
)
def test_leaving_a_dialog_changes_nothing(keys):
    """Whoever looks and goes back has done nothing."""
    assert told_after(scenes.down(), *keys) == []


def test_all_parts_show_the_same_moment(monkeypatch):
    """A landing in one part and the one before it in another would contradict each other."""
    shown = []

    async def script(pilot):
        monkeypatch.setattr(Panel, "show", lambda panel, view: shown.append((panel.id, view.snapshot)))
        pilot.app.refresh_view()
        parts, moments = zip(*shown, strict=True)
        assert (len(parts) > 6, len({id(moment) for moment in moments})) == (True, 1)

    drive(scenes.playing(), script, GENEROUS)


@pytest.mark.slow
def test_a_run_that_has_ended_is_told_nothing_any_more():
    """It would have no effect: no key is offered that would change what is over, and looking back stays."""
    feed = scenes.armed()
    feed.change(transport="ended")

    async def script(pilot):
        await pilot.press("space", "r", "m", "f", "plus", "a", "x", "y", "g", "u", "left")
        screen = pilot.app.screen
        assert isinstance(screen, MainScreen)
        assert (
            screen.controller.read_view().relative,
            screen.controller.cursor.at_s is not None,
        ) == (True, True)

    drive(feed, script, GENEROUS)
    assert feed.told == []


@pytest.mark.slow
def test_acknowledge_is_there_while_there_is_something_to_acknowledge():
    """With an alert the key works, without one it does nothing."""
    assert [Acknowledge()] == told_after(scenes.alerted(), "a")
    assert told_after(scenes.down(), "a") == []


@pytest.mark.slow
def test_follow_is_only_for_a_fader_that_the_sidecar_holds():
    """Nobody believes a move was made that cannot be made from here."""
    feed = scenes.down()
    feed.change(controls_fader=False)

    assert told_after(feed, "f") == []


@pytest.mark.slow
def test_reset_asks_first_and_says_what_would_be_lost():
    """A programme's measurement is not lost to a slip of the hand."""

    async def script(pilot):
        await pilot.press("r")
        await until(pilot, lambda: isinstance(pilot.app.screen, ResetDialog), "the question")

    feed = scenes.down()
    drive(feed, script)

    assert feed.told == []


def test_reset_does_not_ask_once_the_pass_is_over():
    """A pass of known length is measured whole: the next one begins with one key."""
    feed = scenes.down()
    feed.change(advice=Advice("ended", Move(0.0, -22.1), Move(-0.9, -23.0)))

    assert told_after(feed, "r") == [Reset()]


@pytest.mark.slow
def test_u_switches_every_number():
    """LUFS to LU and back, in the same place."""

    async def script(pilot):
        await pilot.press("u")
        await until(pilot, lambda: "+0.9 LU" in shown(pilot.app), "LU")
        await pilot.press("u")
        await until(pilot, lambda: "−22.1 LUFS" in shown(pilot.app), "LUFS again")

    drive(scenes.down(), script)


@pytest.mark.slow
def test_brackets_zoom_and_s_switches_the_scale():
    """The history and the scales are looked at as the person likes."""

    async def script(pilot):
        await pilot.press("left_square_bracket")
        await until(pilot, lambda: " 2 min" in shown(pilot.app), "two of five minutes")
        await pilot.press("right_square_bracket")
        await until(pilot, lambda: " whole" in shown(pilot.app), "the whole again")
        await pilot.press("s")
        await until(pilot, lambda: "+36" in shown(pilot.app), "the far scale")

    drive(scenes.down(), script)


def test_the_wheel_zooms_the_history():
    """Where a mouse lies at hand it does what one expects."""

    async def script(pilot):
        history = pilot.app.screen.query_one("#historypanel")
        await settled(pilot, COMPACT[1] - 1)
        await until(pilot, lambda: history.region.height == len(history.rows), "its place")
        await pilot._post_mouse_events([_scroll_up()], "#historypanel", button=0)
        await until(pilot, lambda: " 2 min" in shown(pilot.app), "two of five minutes")

    drive(scenes.down(), script)


def _scroll_up():
    from textual.events import MouseScrollUp

    return MouseScrollUp


@pytest.mark.slow
def test_the_goal_list_shows_where_the_programme_would_stand():
    """Each goal with the offset from it, kept live while the dialog is open."""
    feed = scenes.down()

    async def script(pilot):
        await pilot.press("g")
        await until(pilot, lambda: isinstance(pilot.app.screen, GoalDialog), "the list")
        options = pilot.app.screen.query_one(OptionList)
        offsets = ["▷ +0.9 LU", "◇ +1.9 LU", "◁ −6.1 LU"]
        await until(pilot, lambda: offsets == [_end_of(options, i) for i in range(3)], "offsets")
        feed.change(reading=scenes.reading_at(feed.history_shown, integrated=-16.0))
        offsets = ["▷ +7.0 LU", "▷ +8.0 LU", "◇ 0.0 LU"]
        await until(pilot, lambda: offsets == [_end_of(options, i) for i in range(3)], "new offsets")

    drive(feed, script)


def _end_of(options, index):
    return options.get_option_at_index(index).prompt.plain.split("dBTP")[1].strip()


@pytest.mark.slow
def test_the_help_explains_each_key_and_comes_from_the_same_table():
    """A key without an explanation could not be found."""
    assert len(KEYS) == len(explained())
    assert all(key and meaning for key, meaning in explained())

    async def script(pilot):
        await pilot.press("h")
        await until(pilot, lambda: isinstance(pilot.app.screen, HelpDialog), "the help")
        await pilot.press("h")
        await until(pilot, lambda: isinstance(pilot.app.screen, MainScreen), "the instrument again")

    drive(scenes.down(), script)


def test_the_help_begins_with_the_keys_and_its_search_leaves_what_matches():
    async def script(pilot):
        await pilot.press("h")
        await until(pilot, lambda: isinstance(pilot.app.screen, HelpDialog), "the help")
        await until(pilot, lambda: _help_shown(pilot.app)[0] == explained()[0][0], "the keys")
        await pilot.press("slash", *"gated annex")
        await until(pilot, lambda: _help_shown(pilot.app) == ["Integrated"], "the one entry with both words")
        await pilot.press(*"xyz")
        await until(pilot, lambda: _help_shown(pilot.app) == ["Nothing"], "that there is none")
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, MainScreen), "the instrument again")

    drive(scenes.down(), script)


def _help_shown(app):
    """The names: what is at the left edge, up to two blanks."""
    lines = str(app.screen.query_one("#entries").render()).splitlines()
    return [
        re.split(" {2,}", line)[0] if "  " in line else line.split()[0] for line in lines if line[:1] > " "
    ]


def _has_ended(app):
    return not app.is_running or app._exit


@pytest.mark.parametrize("key", ["q", "ctrl+c"])
@pytest.mark.parametrize("kind", ["attached", "rehearsal", "past"])
def test_leaving_what_goes_on_or_can_be_had_again_needs_no_question(key, kind):
    async def script(pilot):
        await pilot.press(key)
        await until(pilot, lambda: _has_ended(pilot.app), "the end")

    feed = scenes.down()
    app = drive(feed, script, kind=kind)

    assert (app.return_code, app.return_value) == (0, None)
    assert feed.told == []


@pytest.mark.parametrize("key", ["q", "ctrl+c"])
@pytest.mark.parametrize("transport", ["measuring", "paused", "waiting"])
def test_a_live_measurement_ends_only_after_a_question(key, transport):
    """It ends with its screen: no slip of the hand loses the rest of a pass. The same key again ends it."""

    async def script(pilot):
        await pilot.press(key)
        await until(pilot, lambda: isinstance(pilot.app.screen, LeaveDialog), "the question")
        await pilot.press("n")
        await until(pilot, lambda: isinstance(pilot.app.screen, MainScreen), "the instrument")
        await pilot.press(key, key)
        await until(pilot, lambda: _has_ended(pilot.app), "the end")

    feed = scenes.down()
    feed.change(transport=transport)

    assert drive(feed, script).return_value is None


@pytest.mark.parametrize("scene", [scenes.preparing, scenes.passed])
def test_where_nothing_is_lost_a_live_screen_is_left_at_once(scene):
    async def script(pilot):
        await pilot.press("q")
        await until(pilot, lambda: _has_ended(pilot.app), "the end")

    feed = scene()
    feed.change(reading=feed.shown.reading if scene is scenes.passed else Reading())
    drive(feed, script)


@pytest.mark.parametrize(("kind", "is_offered"), [("rehearsal", True), ("live", False), ("past", False)])
def test_an_ended_rehearsal_offers_to_be_played_again(kind, is_offered):
    async def script(pilot):
        await until(pilot, lambda: _is_placed(pilot.app, "q"), "the footer")
        await until(pilot, lambda: ("space" in _footer(pilot.app)) == is_offered, "the footer of the end")
        await pilot.press("space")
        if is_offered:
            await until(pilot, lambda: _has_ended(pilot.app), "the end")

    app = drive(scenes.passed(), script, kind=kind)

    assert app.return_value == (-3.5 if is_offered else None)


@pytest.mark.slow
def test_the_footer_can_be_clicked():
    """Each key of the footer is a button."""
    feed = scenes.down()

    async def script(pilot):
        await until(pilot, lambda: _is_placed(pilot.app, "f"), "the footer")
        await pilot.click(_footer(pilot.app)["m"])
        await until(pilot, lambda: bool(feed.told), "the command")

    drive(feed, script)

    assert [Mark()] == feed.told


def _footer(app):
    return {key.key: key for key in app.screen.query_one(Footer).query(FooterKey)}


def _is_placed(app, key):
    footer = _footer(app)
    return key in footer and footer[key].region.right > 0


def test_at_80_columns_the_footer_shows_help_and_quit():
    """Even with every key on offer, the way to disarm, to help and out is on the screen."""

    async def script(pilot):
        await until(pilot, lambda: all(_is_placed(pilot.app, key) for key in "afx"), "the footer")
        keys = _footer(pilot.app)
        assert max(keys[key].region.right for key in ("a", "f", "x", "question_mark", "q")) <= 80

    feed = scenes.crowded()
    feed.change(stems=())
    drive(feed, script)


@pytest.mark.slow
def test_the_footer_ends_in_more_at_every_width():
    """The last cells are the list of all keys; the keys before it are whole."""

    async def script(pilot):
        for width in (20, 40, 59, 80, 120, 200):
            await pilot.resize_terminal(width, 24)
            await until(pilot, lambda w=width: _ends_in_more(pilot.app, w), f"more at {width}")
            rights = sorted(key.region.right for key in _footer(pilot.app).values())
            assert rights[-2] <= _footer(pilot.app)["question_mark"].region.x
        await pilot.press("question_mark")
        await until(pilot, lambda: isinstance(pilot.app.screen, Commands), "the list")

    feed = scenes.crowded()
    drive(feed, script)


def _ends_in_more(app, width):
    more = _footer(app).get("question_mark")
    return more is not None and more.region.right == width - 1 and more.description == "more"


@pytest.mark.parametrize(
    ("scene", "word"), [(scenes.down, "Move"), (scenes.stems, "Log"), (scenes.armed, "Move")]
)
def test_plus_and_minus_say_whether_they_move_or_log(scene, word):
    """A move that is only logged must not look like one that the sidecar makes."""

    async def script(pilot):
        await until(pilot, lambda: _is_placed(pilot.app, "plus"), "the footer")
        labels = [str(label.render()) for label in pilot.app.screen.query(FooterLabel)]
        assert f"{word} ±0.5 dB" in labels

    drive(scene(), script, GENEROUS)


@pytest.mark.parametrize(("size", "ascii_only"), [(COMPACT, True), (GENEROUS, False)])
@pytest.mark.parametrize("scene", list(scenes.SCENES))
def test_every_scene_is_complete_at_every_usual_size(scene, size, ascii_only):
    """Hero, scales, peaks, range and alerts are all there and nothing failed."""

    parts = ("landing", "integrated", "short-term", "momentary", "peak", "range", "lu")

    def is_complete(app):
        return size[1] - 1 == rows_shown(app) and all(part in shown(app).lower() for part in parts)

    async def script(pilot):
        await until(pilot, lambda: is_complete(pilot.app), "all panels")
        assert "cannot be drawn" not in shown(pilot.app)
        assert ascii_only == _painted(pilot.app).isascii()

    drive(scenes.SCENES[scene](), script, size, ascii_only=ascii_only)


def _painted(app):
    panels = app.screen.query(Panel)
    return "".join(panel.render_line(y).text for panel in panels for y in range(panel.size.height))


@pytest.mark.slow
def test_any_size_is_drawn_without_a_fault():
    """From one cell to a wall, and back."""

    async def script(pilot):
        for size in ((1, 1), (12, 3), (30, 8), (60, 15), (200, 70), COMPACT):
            await pilot.resize_terminal(*size)
            await until(pilot, lambda size=size: rows_shown(pilot.app) == size[1] - (size[1] > 5), str(size))
            assert "cannot be drawn" not in shown(pilot.app)

    drive(scenes.crowded(), script)


@pytest.mark.slow
def test_a_drawing_that_fails_is_said_and_ends_nothing(monkeypatch):
    """The other panels go on, and when it works again the message goes."""

    def broken(*_):
        raise ZeroDivisionError("no such scale")

    async def script(pilot):
        with monkeypatch.context() as patched:
            patched.setattr(Scales, "draw", broken)
            said = "scales cannot be drawn: no such scale"
            await until(pilot, lambda: said in shown(pilot.app), "the fault")
        await until(pilot, lambda: "cannot be drawn" not in shown(pilot.app), "the end of the fault")
        await pilot.press("m")

    feed = scenes.down()
    drive(feed, script, GENEROUS)

    assert [Mark()] == feed.told


@pytest.mark.slow
def test_a_feed_that_fails_is_said_and_asked_again():
    """The last picture stays, with the reason; when the run is back, so is the screen."""
    feed = scenes.down()

    async def script(pilot):
        feed.failure = "the other sidecar does not answer"
        await until(pilot, lambda: "no answer from the run" in shown(pilot.app), "the fault")
        feed.failure = None
        await until(pilot, lambda: "no answer" not in shown(pilot.app), "the run again")

    drive(feed, script, GENEROUS)


def test_a_refused_command_is_said():
    """What was not done is in the notice line."""
    feed = scenes.down()
    feed.refusal = "this run is only watched"

    async def script(pilot):
        await pilot.press("m")
        await until(pilot, lambda: "this run is only watched" in shown(pilot.app), "the refusal")

    drive(feed, script)


@pytest.mark.slow
def test_a_still_run_repaints_nothing():
    """What did not change is not sent to the terminal again."""
    repainted = []

    async def script(pilot):
        looks = []
        pilot.app.controller.feed.timeline = lambda: (
            looks.append(1) or pilot.app.controller.feed.history_shown
        )
        for panel in pilot.app.screen.query(Scales):
            panel.refresh = lambda *regions, **_: repainted.append(regions)
        await until(pilot, lambda: len(looks) > 3, "some looks")

    drive(scenes.down(), script)

    assert repainted == []


@pytest.mark.slow
def test_labels_are_typed_not_carried_out():
    """In the label's field the letters of other keys are letters."""

    async def script(pilot):
        await pilot.press("M", "q", "r", "space", "g")
        assert isinstance(pilot.app.screen, LabelDialog)
        assert pilot.app.screen.query_one(Input).value == "qr g"

    feed = scenes.down()
    drive(feed, script)

    assert feed.told == []
