"""What a surface file may say besides positions: how a touch is reported, and how the fader is asked for."""

import pytest

from sidecar.errors import SettingsError
from sidecar.model.snapshot import FaderTouch
from sidecar.surfaces.surface import load_surface

TEXT = """
title = "Ours"
fader_address = "/master/level"
feedback_address = "/master/now"
scale = "db"
lowest_db = -60
highest_db = 6
"""


def surface(tmp_path, more):
    path = tmp_path / "ours.toml"
    path.write_text(TEXT + more, "utf-8")
    return load_surface(path)


@pytest.mark.parametrize(
    ("arguments", "is_touch"),
    [([], True), ([1], True), ([1.0], True), ([True], True), ([0], False), ([0.0], False), ([False], False)],
)
def test_a_touch_is_a_message_without_argument_or_with_one_that_is_not_0(tmp_path, arguments, is_touch):
    ours = surface(tmp_path, 'touch_address = "/main/touch"')

    assert ours.feedback("/main/touch", arguments) == (FaderTouch() if is_touch else None)


@pytest.mark.parametrize("arguments", [["on"], [1, 0]])
def test_any_other_argument_of_a_touch_is_refused(tmp_path, arguments):
    ours = surface(tmp_path, 'touch_address = "/main/touch"')
    with pytest.raises(ValueError, match="/main/touch needs no argument, or one number or truth value"):
        ours.feedback("/main/touch", arguments)


def test_a_query_is_a_message_without_arguments_and_may_go_to_the_fader_itself(tmp_path):
    query = surface(tmp_path, 'query_address = "/master/level"').query()

    assert (
        query.dgram == b"/master/level\0\0\0,\0\0\0"
    )  # OSC 1.0: address, then type tags, each padded to 4 bytes
    assert surface(tmp_path, "").query() is None


@pytest.mark.parametrize(
    "more",
    [
        'touch_address = "/master/now"',
        'touch_address = "/stem/3/now"\nstem_feedback_address = "/stem/{stem}/now"',
        'query_address = "/main/get"\n[show]\n"/integrated" = "/main/get"',
        'touch_address = "/main/touch"\n[show]\n"/integrated" = "/main/touch"',
        'touch_address = "main"',
    ],
)
def test_one_address_has_one_meaning(tmp_path, more):
    with pytest.raises(SettingsError, match="it must be"):
        surface(tmp_path, more)
