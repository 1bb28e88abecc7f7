"""What goes wrong for people: each gets one clear message and the right exit code, never a traceback."""

import json
import os
import socket
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sidecar.cli import main

RATE_HZ = 48_000


def tone(seconds=5.0, level_db=-23.0, rate_hz=RATE_HZ, channels=2):
    """Tech 3341 §2.9: in phase on two channels it reads its peak level in LUFS."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    return np.repeat((10 ** (level_db / 20) * np.sin(2 * np.pi * 1000 * t))[:, None], channels, axis=1)


@pytest.fixture
def written(tmp_path):
    def write(name, frames, rate_hz=RATE_HZ, **options):
        soundfile.write(tmp_path / name, frames, rate_hz, **options)
        return str(tmp_path / name)

    return write


@pytest.fixture
def refused(capsys):
    """Runs a command that cannot be done; gives its one message."""

    def run(*arguments, code=2):
        assert code == main(arguments)
        said = capsys.readouterr().err
        assert said.startswith("sidecar: ")
        assert "Traceback" not in said
        return said

    return run


def checked(capsys, *files):
    code = main(["check", "--json", *files])
    return code, json.loads(capsys.readouterr().out)


def test_a_file_that_is_not_there(capsys, tmp_path):
    """Named in the output; exit code 2."""
    code, (outcome,) = checked(capsys, str(tmp_path / "none.wav"))

    assert code == 2
    assert "none.wav" in outcome["error"]


def test_a_file_that_is_not_audio(capsys, tmp_path):
    """A text with an audio file's name is distinguished from audio."""
    (tmp_path / "text.wav").write_text("not audio")
    code, (outcome,) = checked(capsys, str(tmp_path / "text.wav"))

    assert (code, set(outcome)) == (2, {"file", "error"})


def test_why_a_file_is_not_audio_is_said_without_the_programs_own_spelling(capsys, tmp_path):
    """No quoted bytes, no full stop inside the sentence, the name once."""
    (tmp_path / "text.wav").write_text("not audio")
    _, (outcome,) = checked(capsys, str(tmp_path / "text.wav"))

    assert outcome["error"].count("text.wav") == 1
    assert "is not audio (Format not recognised). Give WAV" in outcome["error"]


def test_a_file_without_a_single_frame(capsys, written):
    """Empty is said as such."""
    code, (outcome,) = checked(capsys, written("empty.wav", np.zeros((0, 2))))

    assert code == 2
    assert "empty" in outcome["error"]


def test_a_file_of_one_sample(capsys, written):
    """It is measured: there is no loudness in it, and null says so."""
    code, (outcome,) = checked(capsys, written("one.wav", np.full((1, 2), 0.5)))

    assert code == 1
    assert (outcome["integrated_lufs"], outcome["move_db"], outcome["passes"]) == (None, None, False)
    assert "0.4 s" in outcome["findings"][0]


def test_a_file_with_samples_that_are_no_numbers(capsys, written):
    """They are counted, the rest is measured, and what is no sound is no delivery."""
    frames = tone()
    frames[1000:1010] = np.nan
    code, (outcome,) = checked(capsys, written("nan.wav", frames, subtype="FLOAT"))

    assert (code, outcome["passes"]) == (1, False)
    assert outcome["bad_samples"] == 20
    assert outcome["integrated_lufs"] == pytest.approx(-23.0, abs=0.1)
    assert any("no numbers" in finding for finding in outcome["findings"])


def test_a_sample_rate_below_what_can_be_measured(capsys, written):
    """1 kHz is named with the range that can be."""
    code, (outcome,) = checked(capsys, written("slow.wav", tone(rate_hz=1000), rate_hz=1000))

    assert code == 2
    assert "1000 Hz" in outcome["error"]
    assert "8000 to 384000 Hz" in outcome["error"]


def test_more_channels_than_any_layout_has(capsys, written):
    """64 channels: no weights are guessed; the option that sets them is named."""
    code, (outcome,) = checked(capsys, written("many.wav", tone(1.0, channels=64)))

    assert code == 2
    assert "64 channels" in outcome["error"]
    assert "layout" in outcome["error"]


def test_a_broken_file_does_not_keep_the_others_from_being_measured(capsys, written, tmp_path):
    """Outcomes come in the order asked for, and the good one is whole."""
    good = written("good.wav", tone())
    code, outcomes = checked(capsys, str(tmp_path / "none.wav"), good)

    assert code == 2
    assert ("error" in outcomes[0], outcomes[1]["passes"]) == (True, True)


def test_a_goal_that_does_not_exist(refused, written):
    """The names that do are listed."""
    said = refused("check", "--goal", "r129", written("good.wav", tone()))

    assert "r129" in said
    assert "r128" in said


def test_a_goal_file_that_is_broken(refused, written, tmp_path):
    """File and place of the mistake are named."""
    (tmp_path / "own.toml").write_text("target_lufs = \n")
    said = refused("check", "--goal", str(tmp_path / "own.toml"), written("good.wav", tone()))

    assert "own.toml" in said
    assert "line 1" in said


def test_an_osc_target_that_does_not_resolve(refused, written):
    """RFC 2606 reserves .invalid: it never resolves."""
    said = refused("live", "--file", written("good.wav", tone()), "--no-screen", "--osc", "none.invalid:9000")

    assert "none.invalid" in said


def test_an_osc_port_in_use(refused, written):
    """The port and the option that chooses another are named, by the run and by the listener."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("127.0.0.1", 0))
        port = str(other.getsockname()[1])
        run = refused("live", "--file", written("good.wav", tone()), "--no-screen", "--osc-port", port)
        listener = refused("listen", "--port", port)

    assert port in run
    assert "--osc-port" in run
    assert port in listener
    assert "with --port" in listener


@pytest.mark.parametrize("pick", ["3;4", "left", "", "1,-2"])
def test_channels_that_are_no_numbers(refused, pick):
    """The message shows what a choice of channels looks like."""
    assert "3,4" in refused("live", "--pick", pick)


def test_a_device_cannot_run_faster_than_it_plays(refused):
    """The option is refused rather than ignored."""
    assert "--file" in refused("live", "--pace", "fast")


@pytest.mark.slow
def test_a_device_name_that_matches_nothing(loopback, refused):
    """What there is is listed."""
    said = refused("live", "--device", "no such input")

    assert "no such input" in said
    assert "loopback" in said


@pytest.mark.slow
def test_a_device_name_that_matches_several(loopback, refused):
    """The candidates are listed, none is taken by luck."""
    subprocess.run(["pactl", "load-module", "module-null-sink", "sink_name=other"], check=True)
    said = refused("live", "--device", "monitor")

    assert "may be any of" in said
    assert {"loopback.monitor", "other.monitor"} <= set(said.replace(",", " ").split())


def test_a_layout_that_nobody_knows(capsys, written):
    """The positions that exist are listed."""
    code = main(["check", "--json", "--layout", "L,Up", written("good.wav", tone())])
    (outcome,) = json.loads(capsys.readouterr().out)

    assert code == 2
    assert "'Up'" in outcome["error"]


@pytest.mark.slow
def test_a_layout_of_other_channels_than_the_file_has(capsys, written, refused):
    """Both counts and the option are named; arrays are not mentioned."""
    stereo = written("stereo.wav", tone())
    _, (outcome,) = checked(capsys, "--layout", "5.1", stereo)
    live = refused("live", "--file", stereo, "--layout", "5.1", "--no-screen", "--osc-port", "0")

    for said in (outcome["error"], live):
        assert "There are 6 channels in the layout 5.1, and 2 in the audio." in said
        assert "--layout" in said


@pytest.mark.parametrize(
    "option", [("--device", "pulse"), ("--rate", "48000"), ("--channels", "8"), ("--pick", "3,4")]
)
def test_what_chooses_from_a_device_is_refused_beside_a_file(refused, written, option):
    """Left out of account without a word it would measure other channels than were asked for."""
    said = refused("live", "--file", written("stereo.wav", tone()), "--no-screen", *option)

    assert option[0] in said
    assert "--file" in said


def test_a_rehearsal_is_told_its_own_option_for_stems(refused):
    """``--stems`` is an option of ``live`` alone."""
    assert "rehearse --apart" in refused("rehearse", "--no-screen", "--anchor", "voice")


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [
        ("--osc-port", "99999", "--osc-port: give 0 to 65535, not 99999"),
        ("--osc-port", "-1", "--osc-port: give 0 to 65535, not -1"),
        ("--osc-bind", "192.0.2.1", "192.0.2.1 is no address of this machine"),
        ("--osc-bind", "none.invalid", "none.invalid is no address of this machine"),
    ],
)
def test_an_osc_port_or_address_that_is_none(refused, written, option, value, said):
    """Neither another copy nor the port is blamed for it (RFC 5737: 192.0.2.1 is unassigned; RFC 2606)."""
    message = refused("live", "--file", written("stereo.wav", tone()), "--no-screen", option, value)

    assert said in message
    assert "Errno" not in message
    assert "Another copy" not in message


def test_a_screen_for_browsers_on_an_address_that_is_none(refused):
    """The address is named, without the numbers that systems give to errors."""
    said = refused("screen", "--browser", "--bind", "192.0.2.1")

    assert "192.0.2.1 is no address of this machine" in said
    assert "Errno" not in said


def test_a_rate_of_readings_out_of_range(refused):
    """1 to 50 a second."""
    assert "1 to 50 Hz" in refused("rehearse", "--no-screen", "--osc-rate", "100")


@pytest.mark.parametrize("command", [["check"], ["match"], ["stamp"], ["live", "--no-screen", "--file"]])
def test_a_pipe_is_refused_and_not_waited_for(command, tmp_path, capsys):
    """Nobody writes to it: to open it would be to hang."""
    os.mkfifo(tmp_path / "pipe.wav")
    code = main([*command, str(tmp_path / "pipe.wav")])
    said = capsys.readouterr()

    assert code == 2
    assert "is a pipe or a device, not a sound file" in " ".join((said.out + said.err).split())


@pytest.fixture
def unreadable_names(tmp_path, written):
    """Two files of an old archive, with names in another coding."""
    names = []
    for name in (b"caf\xe9.wav", b"th\xe9.wav"):
        written("plain.wav", tone(1.0, -30.0))
        names.append(os.fsencode(tmp_path) + b"/" + name)
        (tmp_path / "plain.wav").rename(os.fsdecode(names[-1]))
    return names


def in_a_process(*arguments):
    """pytest's own output takes nothing but text."""
    return subprocess.run([sys.executable, "-m", "sidecar", *arguments], capture_output=True, check=False)


@pytest.mark.slow
@pytest.mark.parametrize(
    "command",
    [
        ("goals",),
        ("goals", "--json"),
        ("rehearse", "--pace", "50", "--no-screen", "--no-record"),
        ("rehearse", "--pace", "fast", "--no-screen", "--no-record"),
    ],
)
def test_a_full_disk_behind_the_output_is_said(command):
    """Linux gives a device that is always full: a script must not take the end of the output for the end."""
    osc = ("--osc-port", "0") if "rehearse" in command else ()
    with Path("/dev/full").open("wb") as full:
        run = [sys.executable, "-m", "sidecar", *command, *osc]
        done = subprocess.run(run, stdout=full, stderr=subprocess.PIPE, text=True, check=False)

    said = "The output cannot be written (No space left on device). Make room, or send it elsewhere."
    assert (done.returncode, done.stderr) == (2, f"sidecar: {said}\n")


@pytest.mark.slow
def test_a_name_that_is_no_text_is_measured_and_printed_as_it_is(unreadable_names):
    """Old archives have names in other codings; they come out as the bytes that they are."""
    name = unreadable_names[0]
    run, told = in_a_process("check", name), in_a_process("check", "--json", name)

    assert (run.returncode, run.stderr) == (1, b"")
    assert b"caf\xe9.wav" in run.stdout
    assert os.fsdecode(name) == json.loads(told.stdout)[0]["file"]


@pytest.mark.slow
@pytest.mark.parametrize("more", [(), ("--archive", "kept.sqlite")])
def test_reports_are_written_of_names_that_are_no_text(unreadable_names, tmp_path, monkeypatch, more):
    """What no page can hold becomes a mark on it; the links of the index lead to the bytes of the names."""
    monkeypatch.chdir(tmp_path)
    asked = ("--report", "r.html", "--plot", "p.svg", "--csv", "c.csv")
    done = in_a_process("check", *more, *asked, *unreadable_names)
    assert (done.returncode, done.stderr) == (1, b"")

    index = (tmp_path / "r.html").read_text(encoding="utf-8")
    page = (tmp_path / os.fsdecode(b"r/caf\xe9.wav.html")).read_text(encoding="utf-8")
    drawing = (tmp_path / os.fsdecode(b"p/caf\xe9.wav.svg")).read_text(encoding="utf-8")
    assert 'href="r/caf%E9.wav.html"' in index
    assert ["caf\ufffd.wav" in text for text in (index, page, drawing)] == [True] * 3


@pytest.mark.slow
def test_a_copy_is_made_of_a_file_whose_name_is_no_text(unreadable_names, tmp_path):
    """Under the same bytes, and the same whichever way the name is read: the dither comes from it."""
    copies = tmp_path / "copies"
    done = in_a_process("match", "--write", str(copies), *unreadable_names)

    assert (done.returncode, done.stderr) == (0, b"")
    assert sorted(os.fsencode(copy.name) for copy in copies.iterdir()) == [b"caf\xe9.wav", b"th\xe9.wav"]
