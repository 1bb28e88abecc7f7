"""What tests play on."""

from __future__ import annotations

import os
import shutil

import pytest


def need(program: str) -> None:
    """Leaves a test out where a person's machine has not got what it plays on; in CI it must be there."""
    if shutil.which(program) is None and "CI" not in os.environ:
        pytest.skip(f"{program} is not installed")
