"""The log of a run: lines for scripts, a level, no waiting, nothing of the person in it."""

import json
import logging
import threading
from pathlib import Path

import pytest

from sidecar.cli.terminal import log as log_module
from sidecar.cli.terminal.log import kept_log
from sidecar.settings.locations import log_folder

log = logging.getLogger("sidecar.somewhere")


@pytest.fixture(autouse=True)
def folder(monkeypatch, tmp_path):
    """A log folder of one's own."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    return log_folder()


def kept(folder):
    return [json.loads(line) for line in (folder / "sidecar.log").read_text(encoding="utf-8").splitlines()]


def test_a_record_is_a_line_of_json(folder):
    """Time, level, place, thread and message, after a line on what runs."""
    with kept_log():
        log.warning("fader at %s dB", "−3")
    first, second = kept(folder)

    assert first["message"].startswith("begins: sidecar ")
    assert tuple(second[key] for key in ("level", "from", "thread", "message")) == (
        "warning",
        "sidecar.somewhere",
        "MainThread",
        "fader at −3 dB",
    )
    assert second["time"].endswith("+00:00")


@pytest.mark.parametrize(
    ("level", "expected"),
    [
        ("debug", ["debug", "info", "warning", "error"]),
        ("info", ["info", "warning", "error"]),
        ("error", ["error"]),
    ],
)
def test_the_level_says_what_is_kept(folder, level, expected):
    """That level and up."""
    with kept_log(level):
        for number in (logging.DEBUG, logging.INFO, logging.WARNING, logging.ERROR):
            log.log(number, "something")

    assert [line["level"] for line in kept(folder) if line["message"] == "something"] == expected


def test_an_error_is_kept_with_its_traceback_in_one_line(folder):
    """And the person's home is not named, neither there nor in the message."""
    with kept_log():
        try:
            raise OSError(f"{Path.home()}/secret.wav is gone")
        except OSError:
            log.exception("reading %s", Path.home() / "secret.wav")
    line = kept(folder)[-1]

    assert line["message"] == "reading ~/secret.wav"
    assert "OSError: ~/secret.wav is gone" in line["error"]
    assert "Traceback" in line["error"]


def test_a_full_disk_costs_lines_and_nothing_else(folder, capfd):
    """Linux gives a device that is always full: no message appears, on the screen least of all."""
    folder.mkdir(parents=True)
    (folder / "sidecar.log").symlink_to("/dev/full")
    with kept_log():
        log.warning("lost")
    said = capfd.readouterr()

    assert (said.out, said.err) == ("", "")


def test_who_logs_does_not_wait_for_a_disk_that_stands_still(monkeypatch, folder):
    """The writer hangs; all calls return, and what is more than can wait is left out."""
    monkeypatch.setattr(log_module, "_MOST_WAITING", 5)
    held = threading.Event()
    emit = log_module._File.emit
    monkeypatch.setattr(log_module._File, "emit", lambda self, record: (held.wait(30), emit(self, record)))
    with kept_log():
        for number in range(100):
            log.warning("%d", number)
        held.set()

    assert len(kept(folder)) <= 7


def test_the_log_turns_over(monkeypatch, folder):
    """It never takes more than its share of the disk."""
    monkeypatch.setattr(log_module, "_LARGEST_BYTES", 2000)
    with kept_log():
        for _ in range(200):
            log.warning("a line of about two hundred bytes with all that is around it")
    sizes = {file.name: file.stat().st_size for file in folder.glob("sidecar.log*")}

    assert set(sizes) == {"sidecar.log", "sidecar.log.1", "sidecar.log.2", "sidecar.log.3"}
    assert max(sizes.values()) <= 2000


def test_a_folder_that_takes_nothing_costs_the_log_alone(monkeypatch, tmp_path):
    """A file is where the folder should be: the run goes on."""
    (tmp_path / "taken").write_text("in the way")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "taken"))
    with kept_log():
        log.warning("nowhere")
