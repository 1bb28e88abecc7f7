"""The public names as a strict type checker sees them from outside."""

import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.slow
def test_a_client_is_checked_strictly_and_its_mistakes_are_found(tmp_path):
    client = Path(__file__).with_name("client.py")
    command = [
        "-m",
        "mypy",
        "--strict",
        "--config-file=",
        "--cache-dir",
        str(tmp_path / "cache"),
        str(client),
    ]
    checked = subprocess.run(
        [sys.executable, *command], cwd=tmp_path, capture_output=True, text=True, check=False
    )

    assert checked.stdout == "Success: no issues found in 1 source file\n"
