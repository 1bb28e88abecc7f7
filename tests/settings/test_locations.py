"""Where the program looks for settings."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from sidecar.settings import locations


def test_a_checkout_uses_the_configs_beside_the_package():
    """Without a build, the shipped settings are those of the repository."""
    checkout = Path(__file__).resolve().parents[2]

    assert checkout / "configs" == locations.shipped_configs()
    assert (locations.shipped_configs() / "goals").is_dir()


def test_an_installed_package_uses_the_configs_inside_it(tmp_path):
    """In a wheel the settings lie in the package, and win over a folder that happens to lie beside it."""
    package = tmp_path / "sidecar"
    for folder in (package / "configs", tmp_path / "configs"):
        folder.mkdir(parents=True)
    (package / "__init__.py").touch()
    (package / "settings").mkdir()
    (package / "settings" / "__init__.py").touch()
    shutil.copy(locations.__file__, package / "settings")
    script = "from sidecar.settings import locations; print(locations.shipped_configs())"

    found = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True, check=True, timeout=60
    )

    assert str((package / "configs").resolve()) == found.stdout.strip()


@pytest.mark.parametrize("place", [locations.own_configs, locations.log_folder])
def test_own_places_follow_the_persons_home(place, tmp_path, monkeypatch):
    """Settings and logs belong to the person who runs the program, under a folder of the program's name."""
    monkeypatch.setenv("HOME", str(tmp_path))
    for variable in ("XDG_CONFIG_HOME", "XDG_STATE_HOME"):
        monkeypatch.delenv(variable, raising=False)

    assert place().is_relative_to(tmp_path)
    assert "loudness-sidecar" in place().relative_to(tmp_path).parts


def test_looking_for_own_settings_leaves_no_folder_behind(tmp_path, monkeypatch):
    """A look does not litter: the folder of own settings is made by the person."""
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)

    assert not locations.own_configs().exists()
