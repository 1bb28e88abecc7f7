"""``sidecar rehearse``: the whole job on the built-in programme."""

from __future__ import annotations

import argparse

from sidecar.cli.running import run_session
from sidecar.sources.rehearsal import RehearsalSource


def run(options: argparse.Namespace) -> int:
    """Runs the rehearsal to its end, or until the person quits."""
    return run_session(RehearsalSource(pace=options.pace), options, layout="stereo")
