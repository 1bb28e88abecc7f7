"""Maxima of windows that lie whole in the file (Tech 3341 §2.2: 0.4 s and 3 s), in each form shown."""

import csv
import json

import numpy as np
import pytest
import soundfile

from sidecar.cli import main
from sidecar.delivery.measure.whole_file import measure
from sidecar.meter import Meter
from sidecar.model.readings import SILENCE

RATE_HZ = 48_000
NEVER, MOMENTARY, BOTH = "neither", "momentary", "both"


@pytest.fixture
def noise(tmp_path):
    def write(seconds, rate_hz=RATE_HZ):
        path = tmp_path / f"{seconds}.wav"
        frames = 0.05 * np.random.default_rng(3).standard_normal((round(seconds * rate_hz), 2))
        soundfile.write(path, frames, rate_hz, subtype="PCM_24")
        return path

    return write


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize(
    ("seconds", "has"),
    [
        (0.3, NEVER),
        (0.39, NEVER),
        (0.4, MOMENTARY),
        (1.0, MOMENTARY),
        (2.99, MOMENTARY),
        (3.0, BOTH),
        (4.0, BOTH),
    ],
)
def test_a_maximum_exists_where_a_whole_window_was_in_the_file(noise, seconds, has, rate_hz):
    reading = measure(noise(seconds, rate_hz), workers=1).reading

    assert (reading.max_momentary > SILENCE) == (has != NEVER)
    assert (reading.max_short_term > SILENCE) == (has == BOTH)


def test_a_loud_beginning_counts_from_its_first_whole_window(tmp_path):
    """A window that reaches back before the file would read less loud, not louder: nothing is lost."""
    frames = np.zeros((4 * RATE_HZ, 1))
    frames[: RATE_HZ // 5] = 0.5 * np.random.default_rng(1).standard_normal((RATE_HZ // 5, 1))
    meter = Meter(RATE_HZ, "mono")
    meter.push(frames.clip(-1.0, 1.0))

    assert meter.max_momentary_at_s == 0.4
    assert meter.max_short_term_at_s == 3.0


def test_a_second_is_shown_with_a_dash_and_is_null_for_scripts(noise, capsys):
    path = noise(1.0)
    main(["check", str(path)])
    (row,) = [line.split() for line in capsys.readouterr().out.splitlines() if line.startswith(" 1.0.wav")]
    main(["check", "--json", str(path)])
    (found,) = json.loads(capsys.readouterr().out)

    assert row[3:5] == ["–", "–"]  # range, max S
    assert row[5].startswith("−")  # max M
    for name in ("max_short_term_lufs", "max_short_term_at_s", "loudness_range_lu"):
        assert found[name] is None
    assert found["max_momentary_lufs"] is not None


def test_silence_is_no_missing_window(tmp_path, capsys):
    """Of ten seconds there is a maximum: of silence."""
    soundfile.write(tmp_path / "a.wav", np.zeros((10 * RATE_HZ, 1)), RATE_HZ)
    main(["check", str(tmp_path / "a.wav")])
    (row,) = [line.split() for line in capsys.readouterr().out.splitlines() if line.startswith(" a.wav")]

    assert row[2:6] == ["−∞", "0.0", "−∞", "−∞"]


def test_rows_of_a_history_before_the_first_whole_window_are_empty(noise, tmp_path):
    main(["check", str(noise(4.0)), "--csv", str(tmp_path / "a.csv")])
    with (tmp_path / "a.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))

    assert [row["seconds"] for row in rows if row["momentary_lufs"] == ""] == ["0.1", "0.2", "0.3"]
    assert next(row["seconds"] for row in rows if row["short_term_lufs"]) == "3.0"
    assert len(rows) == 40


def test_a_report_says_why_there_is_none(noise, tmp_path):
    main(["check", str(noise(1.0)), "--goal", "r128-s1", "--report", str(tmp_path / "a.html")])
    page = (tmp_path / "a.html").read_text(encoding="utf-8")

    assert page.count("shorter than 3 s") == 2  # the maximum and the range
