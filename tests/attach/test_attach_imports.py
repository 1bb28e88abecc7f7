"""A screen elsewhere measures nothing, and must be there at once."""

import subprocess
import sys

import pytest


@pytest.mark.parametrize(
    "name", ["numba", "scipy", "sounddevice", "soundfile", "sidecar.meter", "sidecar.advice"]
)
def test_the_screen_and_its_feed_load_no_meter(name):
    """Neither the compiler nor a sound library, nor this program's own measuring."""
    code = f"import sys, tui.app, sidecar.cli.screen, sidecar.attach.feed; sys.exit({name!r} in sys.modules)"

    assert 0 == subprocess.run([sys.executable, "-c", code], check=False).returncode
