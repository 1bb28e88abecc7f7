"""What the screen remembers between runs."""

import os
from dataclasses import replace

import pytest

from sidecar.settings.taste import AT_FIRST, Taste, remember, remembered, taste_file

OWN = Taste(goal='my "own" \\ goal', unit="LU", reach_lu=36.0, zoom_s=300.0, contrast="high", ground="light")


def test_what_is_remembered_is_read_back():
    remember(OWN)

    assert remembered() == OWN


def test_a_first_start_has_nothing_to_remember():
    assert not taste_file().exists()
    assert remembered() == AT_FIRST


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"unit = ",
        b"\xff\xfe\x00",
        b"\x00" * 4096,
        b"unit = 3\nzoom_s = 'all'\nreach_lu = nan\ncontrast = []\nground = 'pink'\ngoal = 7\n",
        b"zoom_s = true\nreach_lu = inf\nnothing_of_ours = 1\n[unit]\nx = 1\n",
        b"goal = '" + b"g" * 81 + b"'",
        b'goal = "a\\u001b[2Jb"',
        b"a = " + b"[" * 5000,
    ],
)
def test_a_file_that_cannot_be_used_stops_nothing(tmp_path, content):
    path = tmp_path / "screen.toml"
    path.write_bytes(content)

    assert remembered(path) == AT_FIRST


def test_one_unusable_value_costs_that_value_alone(tmp_path):
    path = tmp_path / "screen.toml"
    remember(OWN, path)
    path.write_text(path.read_text().replace('"LU"', '"furlong"'))

    assert remembered(path) == replace(OWN, unit="LUFS")


def test_a_folder_in_the_place_of_the_file_stops_nothing(tmp_path):
    assert remembered(tmp_path) == AT_FIRST


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="needs permissions that bind")
def test_a_folder_that_takes_no_file_is_reported(tmp_path):
    (tmp_path / "closed").mkdir(mode=0o500)

    with pytest.raises(OSError, match="denied"):
        remember(OWN, tmp_path / "closed" / "screen.toml")
