"""Lights in TOML: the shipped ones, what a pattern is, and what is refused."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from sidecar.errors import SettingsError
from sidecar.lights import all_lights, light_faults, load_light
from sidecar.lights.conditions import CONDITIONS
from sidecar.lights.light import KINDS
from sidecar.settings.locations import shipped_configs

FOLDER = shipped_configs() / "lights"
SHIPPED = ["colours", "dimmer", "lamp"]

GOOD = {"title": '"Ours"', "address": '"/lamp"', "kind": '"level"', "safe": "0.0"}
SHOW = {"when": '"hot"', "value": "1.0"}


def toml(show: dict[str, str | None] | None = None, **changes: str | None) -> str:
    """A good light with one show, with some keys of either changed, added, or (None) left out."""
    head = "".join(f"{key} = {value}\n" for key, value in (GOOD | changes).items() if value is not None)
    rows = "".join(f"{key} = {value}\n" for key, value in (SHOW | (show or {})).items() if value is not None)
    return f"{head}\n[[show]]\n{rows}"


@pytest.fixture
def own(tmp_path, monkeypatch) -> Path:
    """The person's own lights folder, empty."""
    folder = tmp_path / "own" / "lights"
    folder.mkdir(parents=True)
    monkeypatch.setattr("sidecar.settings.toml.own_configs", lambda: folder.parent)
    return folder


def made(own: Path, text: str):
    path = own / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return load_light("mine")


def refusal(own: Path, text: str) -> str:
    """The message that this file is refused with; always begins with the file."""
    with pytest.raises(SettingsError) as refused:
        made(own, text)
    message = str(refused.value)
    start = f"{own / 'mine.toml'}: "
    assert message.startswith(start)
    return message.removeprefix(start)


class TestShipped:
    def test_there_is_one_of_each_sort(self, own):
        """A switch, a colour and a level are ready to be copied, and each can be used."""
        assert [light.name for light in all_lights()] == SHIPPED
        assert [light.kind for light in all_lights()] == ["colour-255", "level", "switch"]
        assert light_faults() == []

    @pytest.mark.parametrize("name", SHIPPED)
    def test_each_is_dark_when_nothing_is_known(self, own, name):
        """Lost audio and the end of a run are safe: none claims anything it cannot know."""
        light = load_light(name)

        assert set(light.safe) == {0.0}
        assert "lost" not in [condition for show in light.shows for condition in show.when]

    @pytest.mark.parametrize("name", SHIPPED)
    def test_each_file_cautions(self, name):
        """Whoever opens a file to change a light reads that flashing can hurt."""
        assert "# CAUTION: flashing light can cause seizures." in (FOLDER / f"{name}.toml").read_text("utf-8")

    @pytest.mark.parametrize("name", SHIPPED)
    def test_no_two_states_differ_by_colour_alone(self, own, name):
        """Each show has its own pattern, speed or brightness: with all colours gone they stay apart."""
        looks = [
            (show.pattern, show.pattern != "steady" and show.pulse_hz, max(show.value))
            for show in load_light(name).shows
        ]

        assert len(looks) == len(set(looks))

    def test_every_condition_is_explained_in_the_file_that_teaches(self):
        """lamp.toml lists each word that a light can be given, and each key."""
        text = (FOLDER / "lamp.toml").read_text("utf-8")

        assert {word for word in CONDITIONS if not re.search(rf"^#.*\b{word} ", text, re.MULTILINE)} == set()
        assert {kind for kind in KINDS if f"{kind}:" not in text and f"{kind}," not in text} == set()
        keys = {*GOOD, *SHOW, "before", "rest", "pattern", "pulse_hz", "hold_s", "min_on_s"}
        assert "also = " in text
        assert {key for key in keys if not re.search(rf"^(# )?{key} = ", text, re.MULTILINE)} == set()


class TestReading:
    def test_an_own_light_is_found_by_its_name(self, own):
        """Every key says what it says, and what is left out is what the comments promise."""
        light = made(own, toml(before='[3, "lamp", 0.5]'))
        [show] = light.shows

        assert (light.name, light.title, light.address, light.safe) == ("mine", "Ours", "/lamp", (0.0,))
        assert (light.before, light.tags) == ((3, "lamp", 0.5), "isff")
        assert (show.when, show.value, show.rest, show.pattern) == (("hot",), (1.0,), (0.0,), "steady")
        assert (show.pulse_hz, show.hold_s, show.min_on_s) == (1.0, 0.0, 1.0)

    @pytest.mark.parametrize(
        ("kind", "value", "tags"),
        [
            ("switch", "1", "i"),
            ("level", "1", "f"),
            ("level-127", "127", "i"),
            ("level-255", "[255]", "i"),
            ("colour", "[0.5, 1, 0.0]", "fff"),
            ("colour-255", "[0, 128, 255]", "iii"),
        ],
    )
    def test_each_kind_takes_its_numbers(self, own, kind, value, tags):
        """As many as it has, up to its highest, with or without brackets where it is one."""
        safe = "0" if len(tags) == 1 else "[0, 0, 0]"
        light = made(own, toml({"value": value}, kind=f'"{kind}"', safe=safe))

        assert tags == light.tags
        assert len(tags) == len(light.shows[0].value)

    @pytest.mark.parametrize(
        ("pattern", "halves"),
        [
            ("steady", [1, 1, 1, 1, 1, 1, 1]),
            ("pulse", [1, 0, 1, 0, 1, 0, 1]),
            ("double", [1, 0, 1, 0, 0, 0, 1]),
        ],
    )
    def test_a_pattern_is_what_it_says(self, own, pattern, halves):
        """In half periods from its beginning, at half a turn a second: one second each."""
        pulse = {} if pattern == "steady" else {"pulse_hz": "0.5"}
        [show] = made(own, toml({"pattern": f'"{pattern}"', **pulse})).shows

        assert [(float(half),) for half in halves] == [show.at(second) for second in range(7)]


class TestRefusing:
    @pytest.mark.parametrize(
        ("key", "value", "allowed"),
        [
            ("title", "7", "it must be one line of text"),
            ("address", '"lamp"', "it must be an OSC address such as"),
            ("address", '"/lamp/*"', "it must be an OSC address such as"),
            ("kind", '"bulb"', "it must be one of switch, level, level-127"),
            ("safe", "1.5", "it must be a number from 0 to 1"),
            ("safe", "[0.0, 0.0]", "it must be a number from 0 to 1 for a level"),
            ("safe", '"dark"', "it must be a number from 0 to 1"),
            ("before", "3", "it must be a list of numbers and texts"),
            ("before", "[true]", "it must be a number from"),
            ("before", "[2147483648]", "it must be a number from -2.14748e+09 to 2.14748e+09"),
        ],
    )
    def test_a_value_that_cannot_be_is_named_with_what_may_be(self, own, key, value, allowed):
        """File, key, value and what is allowed."""
        message = refusal(own, toml(**{key: value}))

        assert message.startswith(f"{key} is ")
        assert allowed in message

    @pytest.mark.parametrize(
        ("key", "value", "allowed"),
        [
            ("when", '"loud"', "it must be one of ceiling, latched, hot, over"),
            ("when", "[]", "it must be one or more of ceiling"),
            ("when", '["hot", "hot"]', "it must be in one [[show]] only"),
            ("value", "-0.1", "it must be a number from 0 to 1"),
            ("value", "nan", "it must be a number from 0 to 1"),
            ("pattern", '"strobe"', "it must be one of steady, pulse, double"),
            ("rest", "0.0", "it must be left out where the pattern is steady"),
            ("pulse_hz", "1.0", "it must be left out where the pattern is steady"),
            ("hold_s", "61", "it must be a number from 0 to 60"),
            ("min_on_s", "inf", "it must be a number from 0 to 60"),
        ],
    )
    def test_the_same_goes_for_what_is_shown(self, own, key, value, allowed):
        """Each key of a [[show]] is checked as the others are."""
        message = refusal(own, toml({key: value}))

        assert message.startswith(f"{key} is ")
        assert allowed in message

    @pytest.mark.parametrize("pulse_hz", ["1.01", "3", "25", "0", "-1", "inf"])
    def test_a_fast_pulse_is_refused(self, own, pulse_hz):
        """One a second is the fastest that a file may ask for."""
        message = refusal(own, toml({"pattern": '"pulse"', "pulse_hz": pulse_hz}))

        assert "pulse_hz is " in message
        assert message.endswith("it must be a number from 0.1 to 1.")

    @pytest.mark.parametrize("red", ["[255, 0, 0]", "[255, 30, 30]", "[40, 5, 5]"])
    @pytest.mark.parametrize("key", ["value", "rest"])
    def test_saturated_red_may_not_come_and_go(self, own, key, red):
        """Four fifths of red or more, bright or dim, in either half of a pattern; steady it may be.

        Source: WCAG 2.x, definition of general flash and red flash (the share is from memory).
        """
        colour = {"kind": '"colour-255"', "safe": "[0, 0, 0]"}
        shown = {"value": "[9, 9, 9]", "pattern": '"pulse"', key: red}

        message = refusal(own, toml(shown, **colour))

        assert message.startswith(f"{key} is ")
        assert "; it must be less red" in message
        assert made(own, toml({"value": red}, **colour)).shows

    def test_a_whole_number_is_not_taken_for_a_part(self, own):
        """A receiver of whole numbers would take 0.5 for dark."""
        message = refusal(own, toml({"value": "0.5"}, kind='"switch"', safe="0"))

        assert message == "value is 0.5; it must be a whole number from 0 to 1 for a switch."

    def test_a_condition_has_one_place(self, own):
        """The second would never be shown, so it is a mistake."""
        message = refusal(own, toml() + '[[show]]\nwhen = ["over", "hot"]\nvalue = 0.5\n')

        assert message.startswith("when is 'hot'; it must be in one [[show]] only")

    @pytest.mark.parametrize(
        ("first", "second", "is_seen"),
        [
            (("latched", "paused"), ("latched", None), True),
            (("latched", "paused"), ("paused", None), True),
            (("latched", "paused"), ("latched", "silent"), True),
            (("latched", None), ("latched", "paused"), False),
            (("paused", None), ("latched", "paused"), False),
            (("latched", "paused"), ("latched", "paused"), False),
            (("latched", "paused"), ("paused", "latched"), False),
        ],
    )
    def test_two_conditions_at_once_come_before_each_alone(self, own, first, second, is_seen):
        shows = "".join(
            f'[[show]]\nwhen = "{when}"\nvalue = {value}\n' + (f'also = "{also}"\n' if also else "")
            for (when, also), value in ((first, 1.0), (second, 0.5))
        )
        text = toml({"when": '"hot"'}) + shows
        if is_seen:
            light = made(own, text)
            held = {"latched", "paused"}

            assert next(show.value for show in light.shows if show.holds(held)) == (1.0,)
        else:
            assert refusal(own, text).startswith(f"when is '{second[0]}'; it must be in one [[show]] only")

    def test_the_colour_lamp_tells_latched_paused_and_both(self, own):
        shows = load_light("colours").shows

        def shown(*conditions):
            return next(show for show in shows if show.holds({"inside", *conditions}))

        three = [shown("latched"), shown("paused"), shown("latched", "paused")]
        assert len(set(three)) == 3
        assert {three[2].value, three[2].rest} == {three[0].value, three[1].value}

    @pytest.mark.parametrize("key", GOOD)
    def test_a_missing_key_is_named(self, own, key):
        """Above all the safe state is never guessed."""
        assert refusal(own, toml(**{key: None})).startswith(f"{key} is missing. A light needs: title, ")

    @pytest.mark.parametrize("key", SHOW)
    def test_a_missing_key_of_a_show_is_named(self, own, key):
        """What is shown, and when."""
        message = refusal(own, toml({key: None}))

        assert message == f"{key} is missing. A [[show]] needs: when, value."

    def test_misspelt_keys_get_the_nearest(self, own):
        """In the file and in a [[show]]."""
        assert "a light has no key 'adress'. Did you mean address?" in refusal(own, toml(adress='"/x"'))
        assert "a [[show]] has no key 'colour'." in refusal(own, toml({"colour": "1"}))

    @pytest.mark.parametrize("shows", ["show = []\n", "show = 1\n", "show = [1]\n"])
    def test_shows_are_tables(self, own, shows):
        """An empty list is a light that never lights; anything else cannot be read."""
        head = toml().split("\n[[show]]")[0]

        assert "one table or more, each begun by a line [[show]]" in refusal(own, f"{head}\n{shows}")

    def test_a_broken_light_is_left_out_and_named(self, own):
        """The others can still be used."""
        (own / "mine.toml").write_text("title =", encoding="utf-8")

        assert [light.name for light in all_lights()] == SHIPPED
        assert [Path(str(fault).split(": ")[0]).name for fault in light_faults()] == ["mine.toml"]
