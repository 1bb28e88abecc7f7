"""Where things lie on this machine: shipped settings, the person's own, caches and logs."""

from __future__ import annotations

from pathlib import Path

from platformdirs import PlatformDirs

_DIRS = PlatformDirs("loudness-sidecar", appauthor=False)


def shipped_configs() -> Path:
    """The folder ``configs`` that came with the program, in a wheel or in a checkout."""
    package = Path(__file__).resolve().parents[1]
    in_wheel = package / "configs"
    return in_wheel if in_wheel.is_dir() else package.parent / "configs"


def own_configs() -> Path:
    """The person's own settings folder; it need not exist."""
    return _DIRS.user_config_path


def log_folder() -> Path:
    """Where logs go; it need not exist."""
    return _DIRS.user_log_path


def data_folder() -> Path:
    """Where what was heard is kept; it need not exist."""
    return _DIRS.user_data_path
