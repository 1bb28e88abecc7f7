"""Keys as their owner wants them."""

from pathlib import Path

import pytest
import scripted_feed as scenes
from driving import GENEROUS, drive, shown, until
from textual.widgets._footer import FooterKey

from sidecar.errors import SettingsError
from sidecar.model.commands import Mark
from sidecar.settings.locations import own_configs
from tui.drawing.view import USUAL_KEYS
from tui.keys import KEYS
from tui.own_keys import ACTIONS, key_names, own_keys
from tui.screens.help import HelpDialog


@pytest.fixture
def keys_of(tmp_path):
    def made(text):
        path = tmp_path / "keys.toml"
        path.write_text(text)
        return own_keys(path)

    return made


def refusal(keys_of, text):
    with pytest.raises(SettingsError) as refused:
        keys_of(text)
    return str(refused.value)


def test_without_a_file_the_keys_are_the_usual_ones():
    assert own_keys() == KEYS
    assert key_names(KEYS) == USUAL_KEYS


def test_the_file_lies_in_the_settings_folder():
    own_configs().mkdir(parents=True)
    (own_configs() / "keys.toml").write_text('marker = "j"')

    assert [key.action for key in own_keys() if key.key == "j"] == ["tell('mark', '')"]


def test_an_action_that_changes_with_the_run_keeps_one_key(keys_of):
    keys = keys_of('start = "f5"\nfader_up = "."\nnext_event = "+"\narm = "w"')

    assert {key.action for key in keys if key.key == "f5"} == {
        *("tell('start')", "tell('pause')", "tell('continue')", "again(False)")
    }
    assert {key.action for key in keys if key.key == "full_stop"} == {"log_fader(0.5)", "move_fader(0.5)"}
    assert [key.action for key in keys if key.key == "plus"] == ["jump(1)"]
    assert not [key for key in keys if "equals_sign" in key.key]
    assert key_names(keys).arm == "w"


def test_a_second_key_gives_way_to_an_own_one(keys_of):
    keys = keys_of('marker = ":"\nreset = "end"')

    assert [(key.key, key.action) for key in keys if key.key in ("ctrl+p", "colon", "end")] == [
        ("colon", "tell('mark', '')"),
        ("end", "next_pass"),
        ("end", "reset"),
        ("ctrl+p", "commands"),
    ]


def test_two_actions_may_change_places(keys_of):
    keys = keys_of('goal = "r"\nreset = "g"')

    assert {(key.key, key.action) for key in keys if key.key in "gr"} == {
        ("r", "goals"),
        ("g", "next_pass"),
        ("g", "reset"),
    }


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ('markr = "j"', "there is no action 'markr'. Did you mean marker?"),
        ('marker = "g"', "marker and goal have the same key, g. Give one of them another."),
        ('marker = "j"\nreset = "j"', "marker and reset have the same key, j."),
        ('marker = "="', "fader_up and marker have the same key, equals_sign."),
        ('marker = "ctrl+c"', "marker cannot have the key ctrl+c, which always quits."),
        ('marker = "jj"', "marker is 'jj'; it must be one character, or a name such as 'f5'"),
        ("marker = 7", "marker is 7; it must be one character"),
        ('marker = ""', "marker is ''; it must be one character"),
        ('marker = ["j"]', "marker is ['j']; it must be one character"),
        ('marker = "j', "not valid TOML"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_words(keys_of, tmp_path, text, reason):
    said = refusal(keys_of, text)

    assert said.startswith(f"{tmp_path / 'keys.toml'}: ")
    assert reason in said


def test_an_own_key_does_it_and_footer_help_and_sentences_show_it(keys_of):
    feed = scenes.armed()

    def footer(app):
        return {f"{key.key_display} {key.description}" for key in app.screen.query(FooterKey)}

    async def script(pilot):
        await until(pilot, lambda: {"f9 Disarm", "J Marker"} <= footer(pilot.app), "the footer")
        await pilot.press("m")
        await pilot.press("J")
        await until(pilot, lambda: "f9 disarms" in shown(pilot.app), "the sentence with the key")
        await pilot.press("h")
        await until(pilot, lambda: isinstance(pilot.app.screen, HelpDialog), "the help")
        assert ("J", "set a marker here") in pilot.app.screen._entries

    drive(feed, script, GENEROUS, keys=keys_of('marker = "J"\narm = "f9"'))

    assert feed.told == [Mark()]


def test_the_guide_names_every_action():
    guide = (Path(__file__).parents[2] / "tui" / "README.md").read_text()
    listed = guide.partition("```text\n")[2].partition("```")[0]

    assert tuple(listed.split()) == ACTIONS
