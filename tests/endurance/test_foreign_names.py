"""Names, labels and packets from elsewhere never steer a terminal, wherever a run shows or keeps them."""

import subprocess
import sys
import unicodedata

import numpy as np
import pytest
import soundfile
from asker import Asker, free_port
from live_run import LiveRun

from sidecar.cli import main
from sidecar.journal import reader

RATE_HZ = 48_000
LIMIT_S = 120.0
FOREIGN = "a\x1b[2Jb\x9b31mc\u202ed\u2066e\u2028f\u200eg"
"""C0, C1, a bidirectional override, an isolate, a line separator, a directional mark."""
STEERING = {"Cc", "Zl", "Zp"}
TURNING = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}


def unsafe(text, allowed="\n"):
    """Characters of *text* that no terminal should get."""
    return {
        letter
        for letter in text
        if letter not in allowed
        and (
            unicodedata.category(letter) in STEERING
            or unicodedata.bidirectional(letter) in TURNING
            or letter in "\u200e\u200f\u061c"
        )
    }


def tone(file, seconds):
    """A file of a tone."""
    time_s = np.arange(seconds * RATE_HZ) / RATE_HZ
    soundfile.write(file, 0.05 * np.sin(2 * np.pi * 1000 * np.stack([time_s] * 2, axis=1)), RATE_HZ)
    return file


@pytest.fixture
def foreign_file(tmp_path):
    """Some seconds, in a file whose name no terminal should get."""
    return tone(tmp_path / f"{FOREIGN}.wav", 8)


@pytest.fixture
def long_foreign_file(tmp_path):
    """Longer than its test listens, at the pace of the clock."""
    return tone(tmp_path / f"{FOREIGN}.wav", 90)


def printed(*arguments):
    """What a command says on both outputs."""
    command = [sys.executable, "-m", "sidecar", *map(str, arguments)]
    ended = subprocess.run(command, check=False, capture_output=True, timeout=LIMIT_S)
    assert b"Traceback" not in ended.stderr
    return (ended.stdout + ended.stderr).decode("utf-8")


def test_the_test_itself_sees_every_kind():
    assert len(unsafe(FOREIGN)) == 6


@pytest.mark.parametrize(
    "arguments",
    [
        ("check",),
        ("check", "--json"),
        ("check", "--archive", "results.sqlite"),
        ("match",),
        ("stamp", "--dry-run"),
    ],
    ids=" ".join,
)
def test_no_command_on_files_prints_a_name_as_it_is(foreign_file, tmp_path, monkeypatch, capfd, arguments):
    monkeypatch.chdir(tmp_path)
    main([*arguments, str(foreign_file)])
    said = "".join(capfd.readouterr())

    assert "b" in said
    assert "Traceback" not in said
    assert unsafe(said) == set()


@pytest.mark.slow
@pytest.mark.parametrize(
    "arguments",
    [
        ("live", "--file", "--no-screen", "--pace", "fast"),
        ("live", "--file", "--plain", "--pace", "fast"),
        ("live", "--file", "--no-screen", "--json", "--pace", "fast"),
    ],
    ids=" ".join,
)
def test_no_run_prints_a_name_as_it_is(foreign_file, tmp_path, monkeypatch, capfd, arguments):
    monkeypatch.chdir(tmp_path)
    assert main([*arguments[:2], str(foreign_file), *arguments[2:], "--osc-port", "0"]) == 0
    said = "".join(capfd.readouterr())

    assert said
    assert unsafe(said) == set()


def test_a_report_holds_no_name_as_it_is(foreign_file, tmp_path):
    main(["check", str(foreign_file), "--report", str(tmp_path / "report.html")])

    assert unsafe((tmp_path / "report.html").read_text(encoding="utf-8")) == set()


@pytest.mark.slow
def test_what_comes_over_the_network_reaches_neither_lines_nor_listeners_nor_the_record(long_foreign_file):
    port = free_port()
    live = LiveRun("live", "--file", str(long_foreign_file), "--osc-port", str(port))
    with live as run, Asker(port) as asker:
        run.wait_for_progress()
        asker.say("/sidecar/watch", "mark", "detail")  # details go only to who names them
        asker.say("/sidecar/mark", FOREIGN)
        asker.say("/sidecar/goal", FOREIGN)
        marked, (_, why) = asker.hear_all("/sidecar/marked", "/sidecar/error")
        run.wait_for_progress()
        notices = [line["text"] for line in run.lines("notice")]
        source = asker.hear("/sidecar/detail/source")
        code, errors = run.end()
    [kept] = reader.passes()
    texts = [event.text for event in reader.load(kept.id).events]
    listed = printed("passes")

    assert code == 0
    assert "sidecar:" not in errors  # a first run says besides that it compiles
    for text in (marked[1], why, *notices, source[0], *texts, listed):
        assert unsafe(text) == set()
    assert any("goal" in text for text in notices)
    assert "b" in marked[1]
    assert any("b" in text for text in texts)


@pytest.mark.slow
def test_the_name_of_a_file_on_record_is_listed_without_its_controls(foreign_file, capfd):
    """Also where another version has put it there: the record is text from elsewhere too."""
    main(["live", "--file", str(foreign_file), "--no-screen", "--pace", "fast", "--osc-port", "0"])
    capfd.readouterr()
    main(["passes"])
    shown = "".join(capfd.readouterr())
    main(["passes", "--json"])

    assert unsafe(shown) == set()
    assert unsafe("".join(capfd.readouterr())) == set()
    assert foreign_file.name[0] in shown
