"""What the README shows is run: its recipes, its commands, its test command in CI."""

import re
import socket
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sidecar.cli import main
from sidecar.cli.arguments.parser import make_parser
from sidecar.cli.commands.guide import PAGES

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDE = "\n".join((ROOT / path).read_text(encoding="utf-8") for path, _ in PAGES.values())


def blocks(language, text=GUIDE):
    return re.findall(rf"```{language}\n(.*?)```", text, re.DOTALL)


def test_the_readme_can_be_read_in_one_sitting():
    assert len(README.splitlines()) <= 250


def test_every_link_between_the_pages_leads_to_a_file():
    for path, _ in PAGES.values():
        page = ROOT / path
        for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).is_file(), (path, target)


def test_every_page_is_in_the_list_of_pages_and_the_readme_links_to_it():
    written = {
        str(page.relative_to(ROOT))
        for room in ("sidecar", "tui", "configs")
        for page in (ROOT / room).rglob("README.md")
    }
    listed = {path for path, _ in PAGES.values()}

    assert written | {"README.md"} == listed
    assert all(f"]({path})" in README for path in written)


def test_a_page_that_does_not_exist_is_refused_with_the_names_of_those_that_do(capsys):
    assert main(["guide", "nothing"]) == 2
    assert "Choose one of: start, advice" in capsys.readouterr().err


def test_a_page_is_printed_as_written_where_the_output_is_no_terminal(capsys):
    assert main(["guide", "osc"]) == 0
    assert capsys.readouterr().out == (ROOT / "sidecar/osc/README.md").read_text(encoding="utf-8")


def test_the_first_paragraph_states_the_job():
    first = README.split("\n\n")[1]

    assert "which way to move the fader" in first
    assert "OSC" in first


def test_ci_runs_the_command_that_the_readme_gives():
    """The second command of the README is what CI calls, to the letter."""
    command = ".venv/bin/python -m pytest"

    assert f"{command}\n" in blocks("sh", README)
    assert command in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


def test_every_command_in_the_readme_can_be_parsed():
    """No option is shown that does not exist."""
    shown = re.findall(r"^(?:\S+=\S+ )?(?:\S*/)?sidecar ([^|&\n]+)", "\n".join(blocks("sh")), re.MULTILINE)

    assert len(shown) >= 3
    for line in shown:
        make_parser().parse_args(line.split())


@pytest.mark.slow
def test_the_python_example_runs_as_printed(tmp_path):
    (example,) = [block for block in blocks("python") if block.startswith("import numpy")]
    ran = subprocess.run(
        [sys.executable, "-c", example], cwd=tmp_path, capture_output=True, text=True, check=False
    )

    # EBU Tech 3341, table 1, case 1: a stereo 1 kHz sine at L dBFS reads L LUFS
    assert (ran.stdout, ran.stderr) == (
        "-26.0 LUFS, -26.0 dBTP, passes: False\n"
        "Up 3.0 dB: a whole pass then lands at −23.0 LUFS.\n"
        "There is no file mixx.wav. Check its name and folder.\n",
        "",
    )


@pytest.fixture
def loud_file(tmp_path):
    """Noise well above every goal."""
    noise = np.random.default_rng(1).standard_normal((48_000 * 30, 2)) * 0.15
    soundfile.write(tmp_path / "loud.wav", noise, 48_000, subtype="FLOAT")
    return str(tmp_path / "loud.wav")


@pytest.mark.slow
def test_the_light_recipe_lights_up_and_goes_dark_when_the_sidecar_is_gone(tmp_path, loud_file):
    """Run as printed, on another port: on when levels run hot; off when the sidecar is killed and can say
    nothing any more."""
    (recipe,) = [block for block in blocks("python") if "while True:" in block]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    script = tmp_path / "lamp.py"
    script.write_text(
        recipe.replace("9000", str(port)).replace("while True:", "print('ready', flush=True)\nwhile True:")
    )
    lamp = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    assert lamp.stdout is not None
    try:
        assert lamp.stdout.readline() == "ready\n"
        run = subprocess.Popen(
            [
                *(sys.executable, "-m", "sidecar", "live", "--file", loud_file, "--no-screen"),
                *("--osc-port", "0", "--light", f"lamp=127.0.0.1:{port}"),
            ],
            stdout=subprocess.DEVNULL,
        )
        on = lamp.stdout.readline()
        run.kill()
        run.wait()
        said = lamp.stdout.readline()
        while "nothing is heard" not in said and said:
            said = lamp.stdout.readline()
    finally:
        lamp.kill()
        lamp.communicate()

    assert on == "lamp on\n"
    assert said == "lamp off: nothing is heard\n"


@pytest.mark.slow
def test_the_script_recipe_notes_the_alerts(tmp_path, loud_file, monkeypatch):
    """Run as printed: the file that it writes names the alert, its state and its figures."""
    (recipe,) = [block for block in blocks("sh") if block.startswith("#!/bin/sh")]
    script = tmp_path / "note.sh"
    script.write_text(recipe)
    script.chmod(0o755)
    monkeypatch.chdir(tmp_path)
    arguments = ("--no-screen", "--osc-port", "0", "--for", "4", "--on", "hot:any", "./note.sh")
    main(["live", "--file", loud_file, *arguments])
    noted = (tmp_path / "alerts.txt").read_text()

    assert re.fullmatch(r"hot on: -\d+\.\d\d against -20\.00\n", noted)
