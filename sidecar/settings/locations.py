"""Folders on this machine: shipped settings, the person's own, the record of passes and logs."""

from __future__ import annotations

from pathlib import Path

from platformdirs import PlatformDirs

_DIRS = PlatformDirs("loudness-sidecar", appauthor=False)


def shipped_configs() -> Path:
    """Returns the folder ``configs`` that came with the program, in a wheel or in a checkout."""
    package = Path(__file__).resolve().parents[1]
    in_wheel = package / "configs"
    return in_wheel if in_wheel.is_dir() else package.parent / "configs"


def shipped_page(name: str) -> Path:
    """Returns a page of the guide that came with the program, in a wheel or in a checkout.

    name: its path in the checkout, such as ``sidecar/osc/README.md``.
    """
    package = Path(__file__).resolve().parents[1]
    in_wheel = package / name
    return in_wheel if in_wheel.is_file() else package.parent / name


def own_configs() -> Path:
    """Returns the person's own settings folder; it need not exist."""
    return _DIRS.user_config_path


def log_folder() -> Path:
    """Returns the folder of logs; it need not exist."""
    return _DIRS.user_log_path


def data_folder() -> Path:
    """Returns the folder of the record of passes; it need not exist."""
    return _DIRS.user_data_path
