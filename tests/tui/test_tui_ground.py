"""A terminal that says whether its ground is dark or light."""

import time

import pytest
import scripted_feed as scenes
from driving import drive, until
from textual.events import CursorPosition, Key

from sidecar.settings.taste import Taste
from tui.app import make_app
from tui.driver import AnsweringParser, GroundIs
from tui.ground import Answers, shade_named, shade_of

LIGHT = "\x1b]11;rgb:fafa/fbfb/fcfc\x1b\\"


@pytest.mark.parametrize(
    ("answer", "shade"),
    [
        ("11;rgb:0000/0000/0000", "dark"),
        ("11;rgb:1e1e/1e1e/2e2e", "dark"),
        ("11;rgb:75/75/75", "dark"),  # black contrasts with it by 4.56:1, white by 4.61:1
        ("11;rgb:78/78/78", "light"),
        ("11;rgb:f/f/f", "light"),
        ("11;rgba:ffff/ffff/ffff/8080", "light"),
        ("11;rgb:0000/ffff/0000", "light"),
        ("11;rgb:0000/0000/ffff", "dark"),
        ("10;rgb:ffff/ffff/ffff", None),
        ("11;white", None),
        ("11;rgb:fffff/0/0", None),
        ("11;", None),
    ],
)
def test_black_or_white_whichever_stands_out_more_decides(answer, shade):
    assert shade_of(answer) == shade


@pytest.mark.parametrize(
    ("colours", "shade"),
    [
        ("0;15", "light"),
        ("0;default;7", "light"),
        ("15;0", "dark"),
        ("7;8", "dark"),
        ("", "dark"),
        ("x;y", "dark"),
    ],
)
def test_a_ground_may_be_named_in_the_environment(colours, shade):
    assert shade_named(colours) == shade


def read(*pieces):
    """What a parser makes of pieces that arrive one by one, without a wait."""
    parser = AnsweringParser()
    return [message for piece in pieces for message in parser.feed(piece)]


def keys(messages):
    return [message.key for message in messages if isinstance(message, Key)]


@pytest.mark.parametrize("cut", range(1, len(LIGHT)))
def test_an_answer_in_two_pieces_is_never_typed(cut):
    messages = read(f"u{LIGHT[:cut]}", f"{LIGHT[cut:]}m")

    assert keys(messages) == ["u", "m"]
    assert [message.shade for message in messages if isinstance(message, GroundIs)] == ["light"]


def test_an_answer_that_comes_letter_by_letter_is_never_typed():
    messages = read(*LIGHT, "\x1b]11;rgb:0/0/0\x07", "q")

    assert keys(messages) == ["q"]
    assert [message.shade for message in messages if isinstance(message, GroundIs)] == ["light", "dark"]


def test_other_answers_between_are_read_as_before():
    messages = read(f"\x1b[A{LIGHT}\x1b[1;1R")

    assert keys(messages) == ["up"]
    assert any(isinstance(message, CursorPosition) for message in messages)


def test_escape_pressed_before_any_answer_is_not_lost():
    parser, end_s = AnsweringParser(), time.monotonic() + 10.0
    pressed = keys(parser.feed("\x1b"))
    assert pressed == []
    while not pressed and time.monotonic() < end_s:
        pressed = keys(parser.tick())

    assert pressed == ["escape"]


def test_what_never_ends_is_given_back():
    answers = Answers()

    assert answers.divide("\x1b]11;" + "x" * 100)[0] != ""


def _paper(app):
    return str(app.screen.query_one("#hero").render_line(0)._segments[0].style.bgcolor.name)


def test_a_light_terminal_gets_dark_letters():
    async def script(pilot):
        dark = _paper(pilot.app)
        pilot.app.post_message(GroundIs("light"))
        await until(pilot, lambda: _paper(pilot.app) != dark, "the hero drawn anew")
        assert not pilot.app.current_theme.dark
        await pilot.press("o")
        await until(pilot, lambda: _paper(pilot.app) == dark, "a dark ground, as chosen")
        await pilot.press("o", "k")

    app = drive(scenes.down(), script)
    assert (app.controller.taste.ground, app.controller.taste.contrast) == ("light", "high")
    assert app.current_theme.name == "light-high"


def test_a_chosen_ground_stays_whatever_the_terminal_says():
    app = make_app(scenes.down(), ascii_only=False, taste=Taste(ground="dark"))
    app.on_ground_is(GroundIs("light"))

    assert app.current_theme.name == "dark-usual"
