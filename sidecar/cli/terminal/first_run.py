"""The first run on a machine, which compiles the meter and keeps what it compiled."""

from __future__ import annotations

import subprocess
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from sidecar.errors import SourceError

if TYPE_CHECKING:
    from rich.console import Console


_END_S = 1.0

What = Literal["meter", "files"]
"""What a second process compiles: what meters a run, or what measures files."""


@contextmanager
def compiling_is_said(console: Console, what: What = "files") -> Iterator[None]:
    """Prints a line on *console*, during the context, for each kernel that is compiled rather than loaded. A
    second process compiles as well."""
    from sidecar.model.snapshot import COMPILING
    from sidecar.native.kernels import compiling_reported

    said = compiling_reported(lambda at, of: console.print(COMPILING.format(at=at, of=of), markup=False))
    with said, compiling_beside(what):
        yield


@contextmanager
def compiling_beside(what: What) -> Iterator[None]:
    """Has a second process compile too, during the context, as soon as this one compiles a kernel: each takes
    what the other has not begun. One alone does it where no process can be started."""
    from sidecar.native.kernels import compiling_reported
    from sidecar.sources.child import start_child

    beside: list[subprocess.Popen[bytes]] = []

    def begin(at: int, _of: int) -> None:
        if at == 1:
            with suppress(SourceError, RuntimeError):
                beside.append(start_child("sidecar.cli.terminal.compile_beside", what))
                threading.Thread(target=beside[0].wait, name="compiling", daemon=True).start()

    with compiling_reported(begin):
        try:
            yield
        finally:
            for process in beside:
                _end(process)


def _end(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    with suppress(subprocess.TimeoutExpired):
        process.wait(_END_S)
    for pipe in (process.stdin, process.stdout):
        if pipe:
            pipe.close()


def compile_once(console: Console) -> None:
    """Compiles the measuring where nothing of it is kept yet, so that processes side by side load it rather
    than compile it each."""
    from sidecar.delivery.measure.whole_file import measure
    from sidecar.meter import windows
    from sidecar.native.kernels import is_kept

    if is_kept(windows.slide_windows):
        return
    import soundfile

    with tempfile.TemporaryDirectory() as folder, compiling_is_said(console):
        path = Path(folder) / "second.wav"
        soundfile.write(path, [[0.1, 0.1]] * 48_000, 48_000, subtype="PCM_16")
        measure(path, workers=1)
