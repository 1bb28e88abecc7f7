"""The first run on a machine, which compiles the meter and keeps what it compiled."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console


@contextmanager
def compiling_is_said(console: Console) -> Iterator[None]:
    """Prints a line on *console*, during the context, for each kernel that is compiled rather than loaded."""
    from sidecar.model.snapshot import COMPILING
    from sidecar.native.kernels import compiling_reported

    with compiling_reported(lambda at, of: console.print(COMPILING.format(at=at, of=of), markup=False)):
        yield


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
