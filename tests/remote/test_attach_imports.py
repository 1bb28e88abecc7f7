"""A screen elsewhere measures nothing, and must be there at once."""

import subprocess
import sys

import pytest

HEAVY = {
    "numba",
    "scipy",
    "sounddevice",
    "soundfile",
    "sidecar.meter",
    "sidecar.advice",
    "sidecar.run.session",
}


@pytest.mark.slow
def test_the_screen_and_its_feed_load_no_meter():
    """Neither the compiler nor a sound library, nor this program's own measuring."""
    code = "import sys, tui.app, sidecar.cli.commands.screen, sidecar.remote.feed; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert {"tui.app", "sidecar.remote.feed"} <= set(done.stdout.split())
    assert HEAVY & set(done.stdout.split()) == set()
