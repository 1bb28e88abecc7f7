"""The commands as a person and a script meet them."""

import json
import re
import select
import shutil
import subprocess
import sys

import numpy as np
import pytest
import soundfile

import sidecar.cli.commands.devices
from sidecar.cli import main
from sidecar.cli.arguments.parser import make_parser
from sidecar.settings import toml
from sidecar.settings.locations import own_configs, shipped_configs
from sidecar.sources.inputs import DeviceInfo

COMMANDS = ("rehearse", "live", "review", "check", "passes", "listen", "goals", "devices", "doctor")

CHECK_FIELDS = {
    *("file", "sample_rate", "channels", "seconds", "integrated_lufs", "loudness_range_lu"),
    *("max_momentary_lufs", "max_short_term_lufs", "max_true_peak_dbtp", "true_peak_dbtp"),
    *("sample_peak_dbfs", "peak_to_loudness_lu", "goal", "passes", "findings", "move_db"),
}


@pytest.fixture
def files(tmp_path):
    """A tone at −23 dBFS, which passes R 128, and one at −17, which does not (Tech 3341 §2.9)."""
    t = np.arange(10 * 48_000) / 48_000
    made = []
    for name, level_db in (("right.wav", -23.0), ("loud.flac", -17.0)):
        sine = 10 ** (level_db / 20) * np.sin(2 * np.pi * 1000 * t)
        soundfile.write(tmp_path / name, np.stack([sine, sine], axis=1), 48_000)
        made.append(str(tmp_path / name))
    return made


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_helps_with_examples(command, capsys):
    """``--help`` ends with lines that can be typed."""
    with pytest.raises(SystemExit) as ended:
        make_parser().parse_args([command, "--help"])
    said = capsys.readouterr().out

    assert ended.value.code == 0
    assert f"examples:\n  sidecar {command}" in said


def test_help_loads_nothing_heavy():
    """It is there at once because neither numpy nor the compiler nor the screen is imported."""
    code = (
        "import sys\nfrom sidecar.cli.arguments.parser import make_parser\nmake_parser().format_help()\n"
        "import sidecar.cli\nprint([m for m in ('numpy', 'numba', 'textual', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout == "[]\n"


def test_a_live_run_loads_neither_the_rehearsal_nor_what_later_advice_needs():
    """They take half as long as all the rest, and the first reading waits for none of them."""
    code = (
        "import sys\nimport sidecar.cli.commands.live\n"
        "print([m for m in ('scipy', 'numba', 'textual', 'sidecar.sources.rehearsal') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout == "[]\n"


def test_check_passes_what_is_right_and_says_how_to_mend_the_rest(files, capsys):
    """Exit code 1, the table with both verdicts, and the gain that corrects the loud one."""
    code = main(["check", *files])
    said = capsys.readouterr().out

    assert code == 1
    assert "✓ passes" in said
    assert "✗ fails" in said
    assert "A gain of −6.0 dB brings it to −23.0 LUFS" in said


def test_check_speaks_json(files, capsys):
    """One array, an object a file in the order asked for, with every documented field."""
    code = main(["check", "--json", *files])
    right, loud = json.loads(capsys.readouterr().out)

    assert code == 1
    assert set(right) >= CHECK_FIELDS
    assert (right["passes"], loud["passes"]) == (True, False)
    assert loud["move_db"] == pytest.approx(-6.0, abs=0.05)
    assert loud["integrated_lufs"] - right["integrated_lufs"] == pytest.approx(6.0, abs=0.1)


def test_check_ends_with_0_when_all_pass(files, capsys):
    """What a script waits for."""
    assert main(["check", files[0]]) == 0


def test_the_goal_decides(files, capsys):
    """The same file passes one goal and fails another."""
    assert main(["check", "--goal", "premaster", files[0]]) == 1


def test_goals_are_listed_for_people_and_for_scripts(capsys):
    """The table shows each goal; JSON has null where a goal has no lower limit."""
    assert main(["goals"]) == 0
    table = capsys.readouterr().out
    assert main(["goals", "--json"]) == 0
    goals = {goal["name"]: goal for goal in json.loads(capsys.readouterr().out)}

    assert all(name in table for name in goals)
    assert goals["r128"]["target_lufs"] == -23.0
    assert goals["aes-track"]["tolerance_below_lu"] is None


@pytest.mark.slow
def test_brackets_in_names_are_shown_as_they_are(files, tmp_path, monkeypatch, capsys):
    """They are no words of a table's own, wherever a person's or a device's name comes into one."""
    monkeypatch.setenv("COLUMNS", "200")
    path = own_configs() / "goals" / "my[x].toml"
    path.parent.mkdir(parents=True)
    text = (shipped_configs() / "goals" / "r128.toml").read_text(encoding="utf-8")
    path.write_text(re.sub("(?m)^title = .*", 'title = "Film [a][/b] :ok:"', text), encoding="utf-8")
    device = DeviceInfo("Line [c][/d] :ok:", "ALSA", 2, 48_000)
    monkeypatch.setattr(sidecar.cli.commands.devices, "list_devices", lambda: [device])
    reference = tmp_path / "[e]like.wav"
    shutil.copy(files[0], reference)
    for command in (
        ("goals",),
        ("check", "--goal", str(path), files[0]),
        ("match", "--goal", str(path), files[0]),
        ("match", "--like", str(reference), files[0]),
        ("devices",),
    ):
        main(command)
    shown = capsys.readouterr().out

    assert shown.count("Film [a][/b] :ok:") == 3
    assert "my[x]" in shown
    assert "as loud as [e]like.wav" in shown
    assert "Line [c][/d] :ok:" in shown


@pytest.mark.slow
def test_devices_marks_the_loopback(loopback, capsys):
    """The input that carries what the machine plays is marked among the others."""
    assert main(["devices", "--json"]) == 0
    devices = {device["name"]: device for device in json.loads(capsys.readouterr().out)}

    assert devices["loopback.monitor"]["likely_loopback"]


@pytest.mark.slow
def test_doctor_measures_the_line_up_tone_and_finds_the_loopback(loopback, capsys):
    """Tech 3341 §2.9: −18 dBFS reads −18.0 LUFS."""
    main(["doctor"])
    said = capsys.readouterr().out

    assert "✓ meter: the line-up tone at −18 dBFS reads −18.0 LUFS" in said
    assert "✓ loopback input: loopback.monitor" in said


@pytest.mark.slow
def test_doctor_names_each_settings_file_that_cannot_be_used(capsys):
    """With its path and what is wrong; only the usable ones are counted."""
    kinds = ("goal", "surface", "light")
    usable = {kind: len(toml.files(kind)) for kind in kinds}
    paths = {kind: own_configs() / f"{kind}s" / "mine.toml" for kind in kinds}
    for path in paths.values():
        path.parent.mkdir(parents=True)
        path.write_text("title =", encoding="utf-8")
    code = main(["doctor"])
    said = capsys.readouterr().out

    assert code == 1
    for kind, path in paths.items():
        assert f"✓ {kind}s: {usable[kind]} usable; your own go into {path.parent}\n" in said
        assert f"✗ {kind}: {path}: not valid TOML" in said


@pytest.mark.slow
def test_a_file_runs_through_the_live_pipeline_as_fast_as_it_goes(files, capsys):
    """Readings, moves and alerts as lines of JSON; the last reading is that of the file's check."""
    assert (
        main(["live", "--file", files[1], "--pace", "fast", "--no-screen", "--json", "--osc-port", "0"]) == 0
    )
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    readings = [line for line in lines if line["type"] == "reading"]
    moves = [line for line in lines if line["type"] == "move"]
    alerts = {line["name"] for line in lines if line["type"] == "alert"}

    assert len(readings) == pytest.approx(100, abs=2)
    assert readings[-1]["integrated_lufs"] == pytest.approx(-17.0, abs=0.1)
    assert readings[-1]["transport"] == "ended"
    assert moves[-1]["gain_db"] == pytest.approx(-6.0, abs=0.1)
    assert {"over", "hot"} <= alerts


@pytest.mark.slow
def test_a_run_without_json_prints_lines_for_people(files, capsys):
    """A line a second, with the advice when it changes."""
    main(["live", "--file", files[1], "--pace", "fast", "--no-screen", "--osc-port", "0"])
    said = capsys.readouterr().out

    assert "For the next pass: Master fader: down 6.0 dB; lands at −23.0 LUFS." in said
    assert "LU over" in said


@pytest.mark.slow
def test_listen_prints_what_a_run_sends(files, capsys):
    """Two processes over a real port: what the run sends is what the listener prints."""
    listener = subprocess.Popen(
        [sys.executable, "-m", "sidecar", "listen", "--port", "0", "--json", "--only", "/sidecar/goal"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert listener.stderr is not None
    assert listener.stdout is not None
    [port] = re.findall(r"127\.0\.0\.1:(\d+)", listener.stderr.readline())
    code = main(
        [
            *("live", "--file", files[0], "--pace", "fast", "--no-screen"),
            *("--osc", f"127.0.0.1:{port}", "--osc-port", "0"),
        ]
    )
    select.select([listener.stdout], [], [], 30.0)
    listener.send_signal(2)
    printed, _ = listener.communicate(timeout=30)
    first = json.loads(printed.splitlines()[0])

    assert code in (0, 1)  # whatever the verdict
    assert first == {"address": "/sidecar/goal/name", "arguments": ["r128"]}
    assert listener.returncode == 0


@pytest.mark.slow
def test_without_the_audio_library_files_are_still_checked_and_the_rehearsal_runs(files, tmp_path):
    """Only live audio needs PortAudio; where it is missing the message names the package."""
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')")
    environment = {"PYTHONPATH": str(tmp_path), "PATH": "/usr/bin:/bin", "HOME": str(tmp_path)}

    def run(*arguments):
        return subprocess.run(
            [sys.executable, "-m", "sidecar", *arguments],
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )

    live = run("live", "--no-screen", "--osc-port", "0")
    rehearsal = run(*("rehearse", "--no-screen", "--json", "--pace", "fast", "--for", "5", "--osc-port", "0"))

    assert run("check", files[0]).returncode == 0
    assert (rehearsal.returncode, '"type": "move"' in rehearsal.stdout) == (0, True)
    assert live.returncode == 2
    assert "PortAudio" in live.stderr
    assert "Traceback" not in live.stderr
