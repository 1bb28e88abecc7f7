"""What the README shows is run: its recipes, its commands, its test command in CI."""

import re
import socket
import subprocess
import sys
from pathlib import Path

import numpy as np
import soundfile

from sidecar.cli import main
from sidecar.cli.parser import make_parser

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)


def test_the_first_paragraph_states_the_job():
    """Who opens the page learns what it is for before anything else."""
    first = README.split("\n\n")[1]

    assert "which way to move the fader" in first
    assert "OSC" in first


def test_ci_runs_the_command_that_the_readme_gives():
    """The second command of the README is what CI calls, to the letter."""
    command = ".venv/bin/python -m pytest"

    assert f"{command}\n" in blocks("sh")
    assert command in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


def test_every_command_in_the_readme_can_be_parsed():
    """No option is shown that does not exist."""
    shown = re.findall(r"^(?:\S+=\S+ )?(?:\S*/)?sidecar ([^|&\n]+)", "\n".join(blocks("sh")), re.MULTILINE)

    assert len(shown) >= 3
    for line in shown:
        make_parser().parse_args(line.split())


def test_the_light_recipe_lights_up_and_goes_dark_when_the_sidecar_is_gone(tmp_path):
    """Run as printed, on another port: on when levels run hot, off when nothing is heard any more."""
    (recipe,) = blocks("python")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    script = tmp_path / "light.py"
    script.write_text(
        recipe.replace("9000", str(port)).replace("while True:", "print('ready', flush=True)\nwhile True:")
    )
    light = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    assert light.stdout is not None
    try:
        assert "ready\n" == light.stdout.readline()
        noise = np.random.default_rng(1).standard_normal((48_000 * 8, 2)) * 0.15
        soundfile.write(tmp_path / "loud.wav", noise, 48_000, subtype="FLOAT")
        main(
            [
                *("live", "--file", str(tmp_path / "loud.wav"), "--pace", "fast", "--no-screen"),
                *("--osc", f"127.0.0.1:{port}", "--osc-port", "0"),
            ]
        )
        said = [light.stdout.readline()]
        while "off" not in said[-1]:
            said.append(light.stdout.readline())
    finally:
        light.kill()
        light.communicate()

    assert said[0].startswith("light on: ")
    assert any("hot" in line for line in said)
    assert "light off: the sidecar is not heard\n" == said[-1]
