"""Reading goals: by name, by file, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from pathlib import Path

import pytest

from sidecar.errors import SettingsError
from sidecar.settings.goals import all_goals, goal_faults, goal_named, load_goal

GOOD = {
    "title": '"Ours"',
    "target_lufs": "-20.0",
    "tolerance_lu": "0.5",
    "ceiling_dbtp": "-1.5",
    "hot_lufs": "-17",
    "source": '"our own wish"',
}


def toml(**changes: str | None) -> str:
    """A good goal with some keys changed, added, or (None) left out."""
    return "".join(f"{key} = {value}\n" for key, value in (GOOD | changes).items() if value is not None)


@pytest.fixture
def own(tmp_path, monkeypatch) -> Path:
    """The person's own goals folder, empty."""
    folder = tmp_path / "own" / "goals"
    folder.mkdir(parents=True)
    monkeypatch.setattr("sidecar.settings.toml.own_configs", lambda: folder.parent)
    return folder


def refusal(own: Path, text: str) -> str:
    """The message that this file is refused with; always begins with the file."""
    path = own / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as refused:
        load_goal(path)
    message = str(refused.value)
    assert message.startswith(f"{path}: ")
    return message.removeprefix(f"{path}: ")


class TestReading:
    def test_a_goal_is_its_file(self, own):
        """Each key arrives, one tolerance counts both ways, and what is left out takes its default."""
        (own / "mine.toml").write_text(toml(), encoding="utf-8")

        goal = load_goal("mine")

        assert (
            goal.name,
            goal.title,
            goal.target_lufs,
            goal.ceiling_dbtp,
            goal.hot_lufs,
        ) == ("mine", "Ours", -20.0, -1.5, -17.0)
        assert (goal.lowest_lufs, goal.highest_lufs) == (-20.5, -19.5)
        assert (
            goal.hot_hold_s,
            goal.max_short_term_lufs,
            goal.max_momentary_lufs,
            goal.range_guide_lu,
        ) == (1.0, None, None, None)
        assert (goal.unit, goal.source) == ("LUFS", "our own wish")

    def test_optional_keys_are_taken(self, own):
        """What a document limits besides the target has a key."""
        text = toml(
            hot_hold_s="2",
            max_short_term_lufs="-15.0",
            max_momentary_lufs="-12.0",
            range_guide_lu="12.0",
            unit='"LKFS"',
        )
        (own / "mine.toml").write_text(text, encoding="utf-8")

        goal = load_goal("mine")

        assert (
            goal.hot_hold_s,
            goal.max_short_term_lufs,
            goal.max_momentary_lufs,
            goal.range_guide_lu,
            goal.unit,
        ) == (2.0, -15.0, -12.0, 12.0, "LKFS")

    def test_each_side_can_have_its_own_tolerance(self, own):
        """inf below means at most: any quieter programme passes, and above the target a little does."""
        (own / "mine.toml").write_text(toml(tolerance_lu="{ below = inf, above = 0.2 }"), encoding="utf-8")

        goal = load_goal("mine")

        assert (inf, 0.2) == (goal.tolerance_below_lu, goal.tolerance_above_lu)
        assert (-inf, -19.8) == (goal.lowest_lufs, goal.highest_lufs)

    def test_a_path_is_read_wherever_it_lies(self, tmp_path, monkeypatch):
        """A goal beside the project needs no installing, given as a path, as text or as a bare file name."""
        path = tmp_path / "client.toml"
        path.write_text(toml(), encoding="utf-8")
        monkeypatch.chdir(tmp_path)

        assert load_goal(path) == load_goal(str(path)) == load_goal("client.toml")
        assert load_goal(path).name == "client"

    def test_a_byte_order_mark_is_no_obstacle(self, own):
        """Some editors put one in front without telling."""
        (own / "mine.toml").write_bytes(b"\xef\xbb\xbf" + toml().encode())

        assert load_goal("mine").title == "Ours"


class TestChoosing:
    def test_shipped_goals_are_there_without_own_ones(self, own):
        """A fresh installation offers the shipped goals, in the order of their names."""
        own.rmdir()
        names = [goal.name for goal in all_goals()]

        assert {"r128", "a85", "premaster"} <= set(names)
        assert sorted(names) == names
        assert goal_faults() == []

    def test_own_goals_join_and_replace_the_shipped(self, own):
        """A person's r128 is the one that counts, and a new name is added."""
        for name in ("r128", "client"):
            (own / f"{name}.toml").write_text(toml(), encoding="utf-8")
        titles = {goal.name: goal.title for goal in all_goals()}

        assert (titles["r128"], titles["client"]) == ("Ours", "Ours")
        assert load_goal("r128").title == "Ours"
        assert titles["op59"] == "Free TV Australia OP-59"

    def test_a_broken_own_file_costs_only_itself(self, own):
        """The other goals stay, the fault is named, and the shipped figures do not come back unseen."""
        usable = {goal.name for goal in all_goals()}
        (own / "r128.toml").write_text("target_lufs = loud", encoding="utf-8")

        assert usable - {"r128"} == {goal.name for goal in all_goals()}
        assert [str(own / "r128.toml") in str(fault) for fault in goal_faults()] == [True]
        with pytest.raises(SettingsError, match="not valid TOML"):
            load_goal("r128")

    def test_files_that_hide_are_no_goals(self, own):
        """Copies that file systems leave beside a file are passed over."""
        (own / "._client.toml").write_bytes(b"\x00\x05\x16\x07")

        assert goal_faults() == []

    def test_a_wrong_name_is_answered_with_what_there_is(self, own):
        """A slip gets the nearest name, the list, and where own goals go."""
        (own / "client.toml").write_text(toml(), encoding="utf-8")
        with pytest.raises(SettingsError) as refused:
            load_goal("R128-life")
        message = str(refused.value)

        assert message.startswith("There is no goal 'R128-life'. Did you mean r128-live? There are: a85, ")
        assert "client" in message
        assert str(own) in message

    def test_capitals_do_not_hide_the_nearest_name(self, own):
        """A document's name is typed as the document prints it."""
        with pytest.raises(SettingsError, match=r"no goal 'OP59'\. Did you mean op59\?"):
            load_goal("OP59")

    def test_a_name_like_nothing_gets_no_guess(self, own):
        """A guess is made only when one is near."""
        with pytest.raises(SettingsError, match=r"There is no goal 'zzzz'\. There are: "):
            load_goal("zzzz")

    @pytest.mark.parametrize("name", ["../own/goals/mine", "/etc/passwd", "mine.toml", "", "\0"])
    def test_names_from_the_network_reach_no_file(self, own, name):
        """goal_named takes names only: a path in its place is an unknown name, whatever lies there."""
        (own / "mine.toml").write_text(toml(), encoding="utf-8")
        with pytest.raises(SettingsError, match="There is no goal"):
            goal_named(name)


class TestRefusing:
    @pytest.mark.parametrize(
        ("key", "value", "allowed"),
        [
            ("target_lufs", "-70.1", "-70.1; it must be a number from -70 to 0"),
            ("target_lufs", "0.1", "0.1; it must be a number from -70 to 0"),
            ("target_lufs", "nan", "nan; it must be a number"),
            ("target_lufs", "-inf", "-inf; it must be a number"),
            ("target_lufs", '"-23"', "'-23'; it must be a number"),
            ("hot_hold_s", "true", "True; it must be a number"),
            ("target_lufs", "[-23.0]", "[-23.0]; it must be a number"),
            ("target_lufs", "-" + "9" * 400, "it must be a number from -70 to 0"),
            ("ceiling_dbtp", "0.1", "0.1; it must be a number from -20 to 0"),
            ("ceiling_dbtp", "-20.1", "-20.1; it must be a number from -20 to 0"),
            ("hot_lufs", "0.1", "0.1; it must be a number from -70 to 0"),
            ("hot_lufs", "-20.0", "-20.0; it must be above target_lufs (-20)"),
            ("hot_lufs", "-25", "-25.0; it must be above target_lufs (-20)"),
            ("hot_hold_s", "-1", "-1; it must be a number from 0 to 60"),
            ("hot_hold_s", "inf", "inf; it must be a number from 0 to 60"),
            ("max_short_term_lufs", "-20.0", "-20.0; it must be above target_lufs (-20)"),
            ("max_momentary_lufs", "-21.0", "-21.0; it must be above target_lufs (-20)"),
            ("range_guide_lu", "-1", "-1; it must be a number from 0 to 70"),
            ("dialogue_lufs", "-27", "-27; it must be { least = …, most = … }, or one of the two"),
            ("dialogue_lufs", "{ low = -27 }", "it must be { least = …, most = … }, or one of the two"),
            ("ldr_lu", "nan", "nan; it must be a number from -20 to 40"),
            ("unit", '"dB"', "'dB'; it must be one of LUFS, LKFS"),
            ("unit", "[]", "[]; it must be one of LUFS, LKFS"),
            ("title", '" "', "' '; it must be one line of text"),
            ("title", "7", "7; it must be one line of text"),
            ("title", '"a\\u001b[31m"', "it must be one line of text"),
            ("source", '"""a\nb"""', "it must be one line of text"),
            ("tolerance_lu", "-0.1", "-0.1; it must be a number from 0 to 20"),
            ("tolerance_lu", "nan", "nan; it must be a number from 0 to 20"),
            ("tolerance_lu", "inf", "inf; it must be a number from 0 to 20"),
            ("tolerance_lu", "[1, 1]", "[1, 1]; it must be a number from 0 to 20"),
            ("tolerance_lu", "{ below = 1.0 }", "it must be one number or { below = …, above = … }"),
            ("tolerance_lu", "{ below = 1, above = 1, x = 1 }", "it must be one number or { below"),
        ],
    )
    def test_a_value_that_cannot_be_is_named_with_what_may_be(self, own, key, value, allowed):
        """Out of range, no number, or against another key: file, key, value and what is allowed."""
        message = refusal(own, toml(**{key: value}))

        assert message.startswith(f"{key} is ")
        assert allowed in message

    @pytest.mark.parametrize(
        ("value", "expected"),
        [
            ("{ least = -28, most = -23.0 }", (-28.0, -23.0)),
            ("{ most = -23 }", (None, -23.0)),
            ("{ least = -28 }", (-28.0, None)),
        ],
    )
    def test_the_dialogue_has_a_guide_on_either_side(self, own, value, expected):
        (own / "mine.toml").write_text(toml(dialogue_lufs=value, ldr_lu="-1.5"), encoding="utf-8")

        goal = load_goal("mine")

        assert (goal.least_dialogue_lufs, goal.most_dialogue_lufs) == expected
        assert goal.ldr_guide_lu == -1.5

    def test_the_softest_dialogue_wanted_is_not_above_the_loudest(self, own):
        message = refusal(own, toml(dialogue_lufs="{ least = -20, most = -23 }"))

        assert message.startswith("dialogue_lufs.least is -20")
        assert "at most dialogue_lufs.most (-23)" in message

    @pytest.mark.parametrize(
        ("value", "key"),
        [
            ("{ below = nan, above = 1 }", "tolerance_lu.below"),
            ("{ below = -1, above = 1 }", "tolerance_lu.below"),
            ("{ below = 1, above = inf }", "tolerance_lu.above"),
            ("{ below = 1, above = '1' }", "tolerance_lu.above"),
        ],
    )
    def test_a_side_of_the_tolerance_is_named(self, own, value, key):
        """Of the two sides the message says which."""
        assert refusal(own, toml(tolerance_lu=value)).startswith(f"{key} is ")

    def test_a_warning_after_the_limit_is_refused(self, own):
        """A hot line above the short-term limit would warn when it is too late."""
        message = refusal(own, toml(hot_lufs="-14.0", max_short_term_lufs="-15.0"))

        assert (
            message
            == "hot_lufs is -14.0; it must be at most max_short_term_lufs (-15), to warn before it is broken."
        )

    @pytest.mark.parametrize("key", GOOD)
    def test_a_missing_key_is_named(self, own, key):
        """A goal without one of its figures is not guessed."""
        assert refusal(own, toml(**{key: None})).startswith(f"{key} is missing. A goal needs: title, ")

    def test_a_misspelt_key_gets_the_nearest(self, own):
        """A slip in an optional key must not pass as a goal without that limit."""
        message = refusal(own, toml(max_shortterm_lufs="-18.0"))

        assert message.startswith(
            "a goal has no key 'max_shortterm_lufs'. Did you mean max_short_term_lufs? The keys are: title, "
        )

    @pytest.mark.parametrize(
        ("text", "place"),
        [
            ('title = "x"\ntarget_lufs = loud\n', "at line 2"),
            ('title = "x"\ntitle = "y"\n', "at line 2"),
            ("target_lufs = -23,0\n", "at line 1"),
        ],
    )
    def test_broken_syntax_is_shown_with_its_line(self, own, text, place):
        """The person finds the place, a decimal comma included."""
        message = refusal(own, text)

        assert message.startswith("not valid TOML: ")
        assert place in message

    @pytest.mark.parametrize("text", ["a = " + "[" * 100_000, "a = " + "9" * 5_000])
    def test_text_that_breaks_the_parser_is_refused_like_any_other(self, own, text):
        """Depth or length beyond sense ends in a message, not in a traceback."""
        assert refusal(own, text).startswith("not valid TOML: ")

    def test_other_encodings_are_refused(self, own):
        """A file in another encoding is named, with where it stops being UTF-8."""
        path = own / "mine.toml"
        path.write_bytes('title = "Größe"'.encode("latin-1"))
        with pytest.raises(SettingsError, match=r"mine\.toml: not UTF-8 text \(byte 11\)"):
            load_goal("mine")

    def test_a_file_that_is_not_there_is_named(self, tmp_path):
        """A wrong path says so."""
        path = tmp_path / "gone.toml"
        with pytest.raises(SettingsError, match=r"gone\.toml: cannot be read \(No such file or directory\)"):
            load_goal(path)

    def test_a_folder_is_no_goal(self, own):
        """Something that cannot be read as a file costs only itself."""
        (own / "folder.toml").mkdir()

        assert ["folder.toml: cannot be read" in str(fault) for fault in goal_faults()] == [True]


def test_the_highest_that_passes_is_the_figure_a_person_reckons():
    """-29.9 + 0.3 is -29.6, although its floating point sum is not."""
    goal = replace(goal_named("r128"), target_lufs=-29.9, tolerance_above_lu=0.3, tolerance_below_lu=0.7)

    assert (goal.highest_lufs, goal.lowest_lufs) == (-29.6, -30.6)
