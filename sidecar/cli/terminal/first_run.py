"""The first run on a machine, which compiles the meter and keeps what it compiled."""

from __future__ import annotations

import os
import stat
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

_KEPT_AT = "NUMBA_CACHE_DIR"


@contextmanager
def compiling_is_said(console: Console) -> Iterator[None]:
    """Prints a line on *console*, during the context, for each kernel that is compiled rather than loaded."""
    from sidecar.meter.compiled import compiling_reported
    from sidecar.model.snapshot import COMPILING

    with compiling_reported(lambda at, of: console.print(COMPILING.format(at=at, of=of), markup=False)):
        yield


def compile_once(console: Console) -> None:
    """Compiles the measuring where nothing of it is kept yet, so that processes side by side load it rather
    than compile it each."""
    from sidecar.delivery.measure.whole_file import measure
    from sidecar.meter import windows
    from sidecar.meter.compiled import is_kept

    if is_kept(windows.run_windows):
        return
    import soundfile

    with tempfile.TemporaryDirectory() as folder, compiling_is_said(console):
        path = Path(folder) / "second.wav"
        soundfile.write(path, [[0.1, 0.1]] * 48_000, 48_000, subtype="PCM_16")
        measure(path, workers=1)


def settle_compiled_code() -> None:
    """Chooses a temporary folder for compiled code where neither the installation nor the home takes any;
    without one the compiler gives up.

    Call it before anything is imported that is compiled.
    """
    if _KEPT_AT in os.environ or _takes_files(_installation()) or _takes_files(_user_wide()):
        return
    os.environ[_KEPT_AT] = str(_temporary())


def _installation() -> Path:
    return Path(__file__).parent / "__pycache__"


def _user_wide() -> Path:
    """Where numba keeps code of an installation that cannot be written to; looked up here, since to import it
    takes longer than most commands."""
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", "~")) / "numba" / "Cache"
    usual = "~/Library/Caches" if sys.platform == "darwin" else os.environ.get("XDG_CACHE_HOME", "~/.cache")
    return Path(usual) / "numba"


def _takes_files(folder: Path) -> bool:
    try:
        folder = folder.expanduser()
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except (OSError, RuntimeError):  # RuntimeError: there is no home
        return False


def _temporary() -> Path:
    """The same for each run of a user, so that only the first one compiles. Code is loaded from it, so one
    that others could have written to is left alone for a fresh one."""
    usual = Path(tempfile.gettempdir()) / f"loudness-sidecar-{os.getuid() if hasattr(os, 'getuid') else 0}"
    try:
        usual.mkdir(mode=0o700, exist_ok=True)
        found = usual.lstat()
    except OSError:
        return Path(tempfile.mkdtemp(prefix="loudness-sidecar-"))
    is_own = not hasattr(os, "getuid") or (found.st_uid == os.getuid() and not found.st_mode & 0o077)
    if stat.S_ISDIR(found.st_mode) and is_own:
        return usual
    return Path(tempfile.mkdtemp(prefix="loudness-sidecar-"))
