"""Surfaces: the shipped files over a real wire, and what is refused."""

import math
import re
import socket
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidecar.advice.faders.tapers import CONSOLE_TRAVEL
from sidecar.errors import SettingsError
from sidecar.model.commands import FaderAt, StemFaderAt
from sidecar.osc import codec
from sidecar.osc.table.addresses import OUTGOING
from sidecar.settings.locations import shipped_configs
from sidecar.surfaces.surface import all_surfaces, load_surface, surface_faults

FOLDER = shipped_configs() / "surfaces"
SHIPPED = sorted(path.stem for path in FOLDER.glob("*.toml"))

GOOD = {
    "title": '"Ours"',
    "fader_address": '"/master/level"',
    "feedback_address": '"/master/level/now"',
    "scale": '"position"',
    "lowest_db": "-60",
    "highest_db": "6.0",
}
STEMS = {"stem_feedback_address": '"/s/{stem}/now"'}
PAGES = {"stems_per_page": "4", "page_address": '"/panel/page"', "stem_feedback_address": '"/s/{strip}/now"'}


def toml(**changes: str | None) -> str:
    """A good surface with some keys changed, added, or (None) left out."""
    return "".join(f"{key} = {value}\n" for key, value in (GOOD | changes).items() if value is not None)


@pytest.fixture
def own(tmp_path, monkeypatch) -> Path:
    """The person's own surfaces folder, empty."""
    folder = tmp_path / "own" / "surfaces"
    folder.mkdir(parents=True)
    monkeypatch.setattr("sidecar.settings.toml.own_configs", lambda: folder.parent)
    return folder


@pytest.fixture
def surface(own):
    """Makes a surface of a good file with some changes."""

    def make(**changes):
        path = own / "mine.toml"
        path.write_text(toml(**changes), encoding="utf-8")
        return load_surface(path)

    return make


def refusal(own: Path, text: str) -> str:
    """The message that this file is refused with; always begins with the file."""
    path = own / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as refused:
        load_surface(path)
    message = str(refused.value)
    assert message.startswith(f"{path}: ")
    return message.removeprefix(f"{path}: ")


def shipped(name):
    """The file that came with the program, whatever the person has of that name."""
    return load_surface(FOLDER / f"{name}.toml")


def over_the_wire(message):
    """A message as it arrives at the other end of a real UDP socket: its address and arguments."""
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver,
    ):
        receiver.bind(("127.0.0.1", 0))
        receiver.settimeout(10.0)
        sender.sendto(message.dgram, receiver.getsockname())
        [heard] = codec.parse(receiver.recv(65_535))
    return heard


class TestShipped:
    def test_there_is_one_for_each_way_to_speak(self, own):
        """dB, positions, strips and a touch layout are ready to be copied, and each can be used."""
        assert SHIPPED == ["decibels", "positions", "strips", "touch"]
        assert [surface.name for surface in all_surfaces()] == SHIPPED
        assert surface_faults() == []

    @pytest.mark.parametrize("name", SHIPPED)
    @pytest.mark.parametrize("level_db", [-59.0, -23.45, -0.1, 0.0, 5.9])
    def test_a_level_comes_back_as_it_was_sent(self, name, level_db):
        """dB to message, to a workstation that understands it, to its feedback, to dB: within float32."""
        ours = shipped(name)
        workstation = ours.from_the_workstation
        heard = workstation.feedback(*over_the_wire(ours.message(level_db)))
        told = ours.feedback(*over_the_wire(workstation.message(heard.position_db)))

        assert FaderAt(pytest.approx(level_db, abs=1e-4)) == told

    @pytest.mark.parametrize("name", ["decibels", "positions"])
    def test_a_stem_is_known_by_its_number(self, name):
        """What the twelfth stem's fader sends counts for the twelfth stem."""
        workstation = replace(shipped(name).from_the_workstation, fader_address="/stem/12/fader")
        told = shipped(name).feedback(*over_the_wire(workstation.message(-7.0)))

        assert StemFaderAt("12", pytest.approx(-7.0, abs=1e-4)) == told

    @pytest.mark.parametrize("name", SHIPPED)
    def test_what_is_sent_is_what_the_scale_says(self, name):
        """0 dB is the number 0 where dB are spoken, and three quarters of the travel of a console fader."""
        expected = {"decibels": 0.0, "positions": 0.75, "strips": 0.0, "touch": 0.01 + 0.99 * 50 / 60}

        assert over_the_wire(shipped(name).message(0.0))[1][0] == pytest.approx(expected[name], abs=1e-6)

    def test_the_written_travel_is_the_default(self):
        """The comment says that the travel may be left out and is then this one."""
        assert shipped("positions").taper.points == CONSOLE_TRAVEL

    @pytest.mark.parametrize("name", SHIPPED)
    def test_each_file_cautions(self, name):
        """Whoever opens a file to arm a fader reads that level is raised too."""
        assert "# CAUTION: " in (FOLDER / f"{name}.toml").read_text("utf-8")

    def test_each_key_is_explained_in_one_of_them(self):
        """Every key has a comment right above it in some file."""
        text = "\n".join((FOLDER / f"{name}.toml").read_text("utf-8") for name in SHIPPED)
        explained = set(re.findall(r"^#.*\n(?:\w+ = .*\n)*?(\w+) = ", text, re.MULTILINE))
        pairs = {"highest_db": "lowest_db", "page_address": "stems_per_page"}
        keys = {*GOOD, *STEMS, *PAGES, "taper"} - {"title"}

        assert {key for key in keys if pairs.get(key, key) not in explained} == set()


class TestShowing:
    """The table [show] of a file."""

    def test_each_path_of_the_table_may_have_an_address(self, own):
        """Just as written, in the order of the file; without the table nothing is shown."""
        rows = {
            row.path: f"/panel{row.path}" + ("/{stem}" if row.group == "stems" else "") for row in OUTGOING
        }
        text = toml() + "[show]\n" + "".join(f'"{path}" = "{place}"\n' for path, place in rows.items())
        (own / "mine.toml").write_text(text)

        assert rows == load_surface("mine").show
        assert shipped("decibels").show == {}

    @pytest.mark.parametrize(
        ("show", "reason"),
        [
            ('"/move/gian" = "/a"', "a [show] has no key '/move/gian'. Did you mean /move/gain?"),
            ('"/move/gain" = "a"', "/move/gain is 'a'; it must be an OSC address"),
            ('"/move/gain" = 7', "/move/gain is 7; it must be one line of text"),
            ('"/move/gain" = "/master/level"', "it must be another address than that of a fader"),
            ('"/move/gain" = "/s/3/now"', "it must be another address than that of a fader"),
            ('"/move/gain" = "/a"\n"/integrated" = "/a"', "it must be given to one value only"),
            ('"/move/gain" = "/a/3"\n"/stems/moves" = "/a/{stem}"', "it must be given to one value only"),
            ('"/move/gain" = "/a/{stem}"', "it must be an OSC address such as"),
            ('"/stems/moves" = "/a"', "it must be an OSC address with {stem} once"),
            ('"/stems/moves" = "/s/{stem}/now"', "it must be another address than that of a fader"),
            ('"/stems/moves" = "/s/{stem}1/now"', "it must be another address than that of a fader"),
        ],
    )
    def test_what_cannot_be_shown_is_refused(self, own, show, reason):
        """Above all what would move a fader that is only to be shown."""
        assert reason in refusal(own, toml(**STEMS) + f"[show]\n{show}\n")

    def test_stems_are_shown_at_addresses_of_their_own(self, own):
        """One a stem, beside the programme's."""
        (own / "mine.toml").write_text(toml(**STEMS) + '[show]\n"/stems/moves" = "/s/{stem}/move"\n')

        assert load_surface("mine").show == {"/stems/moves": "/s/{stem}/move"}

    def test_show_is_a_table(self, own):
        """The sentence says how one begins."""
        assert "it must be a table, begun by a line [show]" in refusal(own, toml(show='"/move/gain"'))


class TestSpeaking:
    @pytest.mark.parametrize("level_db", [6.1, 24.0, math.inf])
    def test_nothing_above_the_highest_is_ever_sent(self, surface, level_db):
        """The range's top is a fuse: it holds in both scales."""
        for scale in ("db", "position"):
            made = surface(scale=f'"{scale}"')
            [sent] = over_the_wire(made.message(level_db))[1]
            assert (sent if scale == "db" else made.taper.gain_db(sent)) == pytest.approx(6.0, abs=1e-5)

    @pytest.mark.parametrize("level_db", [math.nan, -math.inf])
    def test_what_is_no_number_goes_to_the_bottom(self, surface, level_db):
        """The safe end: -120 on a wire of dB, 0 on one of positions."""
        assert surface(scale='"db"').message(level_db).arguments == [-120.0]
        assert surface().message(level_db).arguments == [0.0]


class TestListening:
    @pytest.mark.slow
    @given(st.floats(-100.0, 24.0))
    def test_feedback_in_decibels_is_taken_as_it_is(self, level_db):
        """Anywhere in a fader's travel, also above the range that the sidecar itself keeps to."""
        assert FaderAt(level_db) == shipped("decibels").feedback("/master/level", [level_db])

    @pytest.mark.parametrize("told", [-120.0, -144, -193.0, -math.inf])
    def test_the_many_figures_for_a_closed_fader_are_one(self, surface, told):
        """Nothing is heard below -120 dB, whatever a workstation calls it."""
        assert FaderAt(-math.inf) == surface(scale='"db"').feedback("/master/level/now", [told])

    def test_the_bottom_of_the_travel_is_a_closed_fader(self, surface):
        """Position 0, as whole number or float; the top is the taper's."""
        heard = [surface().feedback("/master/level/now", [place]).position_db for place in (0, 0.0, 1)]

        assert [-math.inf, -math.inf, 10.0] == heard

    @pytest.mark.parametrize(
        "arguments",
        [[], [0.5, 0.5], ["0.5"], [None], [True], [math.nan], [math.inf], [1.01], [-0.01], [[0.5]]],
    )
    @pytest.mark.parametrize("address", ["/master/level/now", "/s/2/now"])
    def test_anything_but_one_number_in_range_is_refused(self, surface, address, arguments):
        """The reason names the address; no such value becomes a level."""
        with pytest.raises(ValueError, match=f"^{address} needs "):
            surface(**STEMS).feedback(address, arguments)

    @pytest.mark.parametrize("level_db", [24.1, math.inf, math.nan])
    def test_more_than_a_fader_gives_is_refused(self, surface, level_db):
        """A figure that no fader has is not a report of one."""
        with pytest.raises(ValueError, match="needs -inf to 24, not"):
            surface(scale='"db"').feedback("/master/level/now", [level_db])

    @pytest.mark.parametrize(
        "address",
        [
            "/master/level",
            "/master/level/no",
            "/master/level/now/",
            "/MAIN/fader/now",
            "/s/0/now",
            "/s/01/now",
            "/s/-1/now",
            "/s/x/now",
            "/s//now",
            "/s/now",
            "/s/1234/now",
            "/s/²/now",
            "/s/1/fader",
            "/s/1/2/now",
        ],
    )
    def test_other_addresses_are_none_of_its_business(self, surface, address):
        """Only the exact addresses count, and stems only by a plain number from 1."""
        assert surface(**STEMS).feedback(address, [0.5]) is None


class TestRefusing:
    @pytest.mark.parametrize(
        ("key", "value", "allowed"),
        [
            ("title", "7", "7; it must be one line of text"),
            ("fader_address", '"main"', "'main'; it must be an OSC address such as /master/level"),
            ("fader_address", '"/"', "it must be an OSC address"),
            ("fader_address", '"/main/"', "it must be an OSC address"),
            ("fader_address", '"/main//fader"', "it must be an OSC address"),
            ("fader_address", '"/main fader"', "it must be an OSC address"),
            ("fader_address", '"/main/*"', "it must be an OSC address"),
            ("fader_address", '"/stem/{stem}"', "it must be an OSC address"),
            ("feedback_address", '"/haupt/schw\u00e4cher"', "it must be an OSC address"),
            ("feedback_address", "1", "1; it must be one line of text"),
            ("scale", '"dB"', "'dB'; it must be one of db, position"),
            ("scale", "[]", "it must be one of db, position"),
            ("lowest_db", "-120.1", "-120.1; it must be a number from -120 to 0"),
            ("lowest_db", "true", "True; it must be a number"),
            ("highest_db", "nan", "nan; it must be a number from -120 to 24"),
            ("highest_db", "24.5", "24.5; it must be a number from -120 to 24"),
            ("highest_db", "-60", "-60.0; it must be above lowest_db (-60)"),
            ("highest_db", "10.5", "10.5; it must be at most the top of the taper (10)"),
            ("taper", "7", "7; it must be a list of pairs [dB, position]"),
            ("taper", "[[0.0, 1.0, 2.0]]", "it must be a list of pairs"),
            ("taper", "[0.0, 1.0]", "it must be a list of pairs"),
        ],
    )
    def test_a_value_that_cannot_be_is_named_with_what_may_be(self, own, key, value, allowed):
        """File, key, value and what is allowed."""
        message = refusal(own, toml(**{key: value}))

        assert message.startswith(f"{key} is ")
        assert allowed in message

    @pytest.mark.parametrize(
        ("taper", "reason"),
        [
            ("[]", "taper cannot be used. A fader's travel needs two points or more, not 0"),
            ("[[-10, 0.5], [0, 0.5], [10, 1]]", "taper cannot be used. A fader's travel must rise"),
            ("[[0, 0.7], [-10, 1]]", "taper cannot be used. A fader's travel must rise"),
            ("[[-10, 0.5], [10, 0.9]]", "taper cannot be used. A fader's travel must end at position 1"),
            ("[[-10, 0.5], [10, 1.5]]", "position in taper is 1.5; it must be a number from 0 to 1"),
            ('[["low", 0.5], [10, 1]]', "dB in taper is 'low'; it must be a number from -120 to 24"),
        ],
    )
    def test_a_travel_that_cannot_be_inverted_is_refused(self, own, taper, reason):
        """A table that falls, repeats or does not reach the top would move to the wrong level."""
        assert refusal(own, toml(taper=taper)).startswith(reason)

    def test_a_travel_for_decibels_is_refused(self, own):
        """It would have no effect, so it is a mistake."""
        message = refusal(own, toml(scale='"db"', taper="[[-10, 0.5], [10, 1]]"))

        assert message.endswith('it must be left out where scale is "db".')

    @pytest.mark.parametrize(
        ("changes", "reason"),
        [
            ({"page_address": None}, "page_address is missing, which stems_per_page needs."),
            ({"stems_per_page": None}, "stems_per_page is missing, which page_address needs."),
            ({"stems_per_page": "0"}, "stems_per_page is 0; it must be a whole number from 1 to 128."),
            ({"stems_per_page": "129"}, "stems_per_page is 129; it must be a whole number from 1 to 128."),
            ({"stems_per_page": "8.0"}, "stems_per_page is 8.0; it must be a whole number"),
            ({"stems_per_page": "true"}, "stems_per_page is True; it must be a whole number"),
            ({"page_address": '"/panel/page/*"'}, "it must be an OSC address"),
            ({"page_address": '"/s/2/now"'}, "it must be another address than that of a fader"),
            ({"page_address": '"/master/level/now"'}, "it must be another address than that of a fader"),
            ({"stem_feedback_address": '"/s/{stem}/now"'}, "it must be an OSC address with {strip} once"),
            ({"show": '{"/stems/moves" = "/m/{stem}"}'}, "it must be an OSC address with {strip} once"),
            (
                {"show": '{"/stems/moves" = "/s/{strip}/now"}'},
                "it must be another address than that of a fader",
            ),
            ({"show": '{"/heartbeat" = "/panel/page"}'}, "it must be another address than that of a fader"),
        ],
    )
    def test_pages_that_cannot_be_turned_are_refused(self, own, changes, reason):
        """Half of a pair, strips that there cannot be, the other placeholder, an address for two things."""
        assert reason in refusal(own, toml(**PAGES | changes))

    @pytest.mark.parametrize(
        ("value", "reason"),
        [
            ('"/s/fader"', "it must be an OSC address with {stem} once"),
            ('"/{stem}/{stem}"', "it must be an OSC address with {stem} once"),
            ('"s/{stem}"', "it must be an OSC address such as"),
            ('"/s {stem}"', "it must be an OSC address such as"),
        ],
    )
    def test_an_address_for_stems_has_one_place_for_the_number(self, own, value, reason):
        """Without it, or with two, no stem could be distinguished from another."""
        assert reason in refusal(own, toml(stem_feedback_address=value))

    def test_the_master_fader_is_no_stem(self, own):
        """Two faders at one address would each be taken for the other."""
        message = refusal(own, toml(**STEMS, feedback_address='"/s/7/now"'))

        assert "it must be another address than feedback_address (/s/7/now) for every stem." in message

    @pytest.mark.parametrize("key", GOOD)
    def test_a_missing_key_is_named(self, own, key):
        """Nothing about a fader that will be moved is guessed."""
        assert refusal(own, toml(**{key: None})).startswith(f"{key} is missing. A surface needs: title, ")

    def test_a_misspelt_key_gets_the_nearest(self, own):
        """A slip must not leave the default travel in force."""
        message = refusal(own, toml(tapper="[]"))

        assert message.startswith("a surface has no key 'tapper'. Did you mean taper? The keys are: title, ")

    @pytest.mark.parametrize("text", ["title = loud", "title =", "\x00"])
    def test_what_is_no_toml_is_refused(self, own, text):
        """The message says where."""
        assert refusal(own, text).startswith("not valid TOML: ")

    def test_an_unknown_name_is_answered_with_what_there_is(self, own):
        """The nearest, the list, and where own surfaces go."""
        with pytest.raises(SettingsError) as refused:
            load_surface("decibel")

        assert (
            str(refused.value) == "There is no surface 'decibel'. Did you mean decibels? "
            "There are: decibels, positions, strips, touch. "
            f"Your own go into {own}, one file each, as NAME.toml."
        )

    def test_a_broken_own_file_costs_only_itself(self, own):
        """The others stay, and the fault is named."""
        (own / "touch.toml").write_text("title = 1", encoding="utf-8")

        assert [surface.name for surface in all_surfaces()] == ["decibels", "positions", "strips"]
        assert [str(own / "touch.toml") in str(fault) for fault in surface_faults()] == [True]


def test_the_limits_of_a_move_are_those_of_the_surface(surface):
    """What arms gets the surface's range; steps and rates stay as they are."""
    limits = surface(highest_db="-3.0").limits

    assert (limits.lowest_db, limits.highest_db, limits.step_up_db) == (-60.0, -3.0, 3.0)


def test_a_workstation_says_where_its_fader_stands_above_the_range(surface):
    """A hand may push it higher than the sidecar would; the sidecar must receive the truth."""
    made = replace(surface(scale='"db"'), highest_db=-3.0)

    assert made.from_the_workstation.message(5.0).arguments == [5.0]
