"""What a screen was set to is there at the next start, where no option says otherwise."""

import argparse
from dataclasses import replace

import pytest

import tui
from sidecar.cli.run import build, screen
from sidecar.settings.taste import AT_FIRST, Taste, remember, remembered, taste_file


@pytest.fixture
def shown(monkeypatch):
    """Runs ``screen.show`` with keys that change the taste; returns the taste at the start."""

    def show(change=lambda taste: taste, *, contrast=None, ground=None):
        seen = []

        def run(_feed, *, taste, **_rest):
            seen.append(taste)
            return False, change(taste)

        monkeypatch.setattr(tui, "run", run)
        options = argparse.Namespace(contrast=contrast, ground=ground, fps=20)
        screen.show(None, options, "live", lambda: False)
        return seen[0]

    return show


def test_what_keys_have_changed_is_there_at_the_next_start(shown):
    assert shown(lambda taste: replace(taste, unit="LU", goal="a85", zoom_s=60.0)) == AT_FIRST
    assert shown() == Taste(unit="LU", goal="a85", zoom_s=60.0)


def test_an_option_holds_for_one_run(shown):
    remember(Taste(contrast="high", ground="light"))

    assert shown(lambda taste: replace(taste, unit="LU"), contrast="usual", ground="dark") == Taste(
        contrast="usual", ground="dark"
    )
    assert remembered() == Taste(unit="LU", contrast="high", ground="light")


def test_what_another_screen_remembered_meanwhile_stays(shown):
    def change(taste):
        remember(replace(AT_FIRST, zoom_s=300.0))
        return replace(taste, unit="LU")

    shown(change)

    assert remembered() == Taste(unit="LU", zoom_s=300.0)


def test_without_a_change_nothing_is_written(shown):
    shown()

    assert not taste_file().exists()


def test_a_tab_of_a_browser_remembers_nothing(shown, monkeypatch):
    monkeypatch.setenv("TEXTUAL_DRIVER", "textual.drivers.web_driver:WebDriver")
    shown(lambda taste: replace(taste, unit="LU"))

    assert not taste_file().exists()


def test_a_folder_that_cannot_be_written_is_one_line(shown, capsys):
    taste_file().parent.parent.mkdir(parents=True, exist_ok=True)
    taste_file().parent.write_text("a file in its place")
    shown(lambda taste: replace(taste, unit="LU"))

    said = capsys.readouterr().err
    assert said.startswith(f"sidecar: {taste_file()} was not written: ")
    assert said.count("\n") == 1


def options(**given):
    return argparse.Namespace(**{"goal": None, "no_screen": False, "plain": False, **given})


def goal_of(**given):
    return build._goal(options(**given), None).name


def test_the_goal_chosen_last_on_the_screen_is_that_of_the_next_run_with_a_screen():
    remember(Taste(goal="a85"))

    assert goal_of() == "a85"
    assert goal_of(goal="r128-s1") == "r128-s1"
    assert goal_of(no_screen=True) == "r128"
    assert goal_of(plain=True) == "r128"


@pytest.mark.parametrize("name", ["", "gone", "../../etc/passwd", "/etc/passwd.toml"])
def test_a_goal_that_is_no_more_there_is_the_usual_one(name):
    remember(Taste(goal=name))

    assert goal_of() == "r128"
