"""Earlier passes on disk: the last one that was heard, or a file of the mix."""

from __future__ import annotations

import zipfile
from pathlib import Path

import numpy as np

from sidecar.advice.counsel import Earlier
from sidecar.advice.series import Floats
from sidecar.errors import SettingsError
from sidecar.locations import data_folder

LAST = "last"
_FILE = "last-pass.npz"
_BLOCK_FRAMES = 65_536


def load_earlier(text: str, layout: str | None = None) -> Earlier:
    """The earlier pass that a person means: "last", or a sound file that holds the programme.

    Raises SettingsError when there is no last one, SourceError and SignalError for a file that cannot
    be read or measured.
    """
    return _last() if text == LAST else _of_file(Path(text), layout)


def save_last(earlier: Earlier) -> None:
    """Keeps a pass as the last one. A disk that takes nothing costs only this."""
    folder = data_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        np.savez(folder / "new.npz", title=earlier.title, energies=earlier.energies)
        (folder / "new.npz").replace(folder / _FILE)
    except OSError:
        return


def _last() -> Earlier:
    file = data_folder() / _FILE
    try:
        with np.load(file) as kept:
            return Earlier(str(kept["title"]), kept["energies"])
    except FileNotFoundError:
        raise SettingsError(
            "There is no last pass yet: let the sidecar hear one for at least a minute, "
            "or give a file of the mix to --profile."
        ) from None
    except (OSError, KeyError, ValueError, zipfile.BadZipFile) as error:
        raise SettingsError(f"The last pass in {file} cannot be read ({error}): delete that file.") from error


def _of_file(path: Path, layout: str | None) -> Earlier:
    from sidecar.meter import Meter
    from sidecar.sources.file import FileSource

    source = FileSource(path, pace="fast", block_frames=_BLOCK_FRAMES)
    try:
        meter = Meter(source.rate_hz, layout, channels=source.channels)
        energies: list[Floats] = []
        for block in source.blocks():
            meter.push(block.frames)
            energies.append(meter.take_blocks().energy)
    finally:
        source.close()
    return Earlier(path.name, np.concatenate(energies))
