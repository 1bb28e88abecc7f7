"""One file of an archive, measured wherever there is a processor for it; gives what is to be kept."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path

from sidecar.delivery.batch.packing import pack
from sidecar.delivery.judge.checking import Unread, check_file
from sidecar.errors import SidecarError
from sidecar.settings.goals import Goal
from sidecar.sources.sound_file import refuse_irregular
from sidecar.version import program_version
from sidecar.wave.bext_write import Seen

_PACKAGE = Path(__file__).parents[2]
_BEGIN = tuple(
    f"{name}.py" for name in ("delivery/measure/whole_file", "wave/bext", "delivery/batch/packing")
)
"""From here on everything is followed that is imported."""
_ALSO = ("delivery/judge/checking.py",)
"""What holds a file's own claims against its figures; it judges besides, which is done afresh each time."""


@dataclass(frozen=True, slots=True)
class Job:
    """How all files of a run are measured."""

    layout: str | None
    goals: tuple[Goal, ...]
    meter: str
    """Whose figures are wanted: see :func:`meter_version`."""
    workers: int = 1
    """Threads that share one file."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A file that was measured, as it is kept."""

    file: str
    seen: Seen
    """By what the file is known to be still the one that was measured."""
    seconds: float
    integrated_lufs: float
    max_true_peak_dbtp: float
    figures: str
    course: bytes
    passes: bool
    """Whether it meets all goals of this run."""


Result = Kept | Unread


@cache
def meter_version() -> str:
    """Changes with everything that figures depend on: the library that decodes, and our own measuring, by
    its very text. So figures of an older meter are never taken for those of an improved one."""
    import soundfile

    digest = sha256(f"{program_version()} {soundfile.__libsndfile_version__}".encode())
    for path in measuring_modules():
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def measuring_modules() -> list[Path]:
    """Our own modules that measuring imports, straight or by way of others."""
    found = {_PACKAGE / name for name in _ALSO}
    waiting = [_PACKAGE / name for name in _BEGIN]
    while waiting:
        path = waiting.pop()
        if path not in found and path.is_file():
            found.add(path)
            waiting += _imported(path)
    return sorted(found)


def _imported(path: Path) -> Iterator[Path]:
    """Files that there may be or not: a name that is imported may be a module or lie in one."""
    for node in ast.walk(ast.parse(path.read_bytes())):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("sidecar."):
            place = _PACKAGE.joinpath(*node.module.split(".")[1:])
            yield from (place.with_suffix(".py"), place / "__init__.py")
            yield from (place / f"{alias.name}.py" for alias in node.names)


def measured(file: str, job: Job) -> Result:
    """Whatever is wrong with a file is told of that file: nothing is raised, and no pipe is waited for."""
    try:
        refuse_irregular(Path(file))
        checked = check_file(file, job.layout, job.goals, workers=job.workers)
    except SidecarError as error:
        return Unread(file, str(error))
    except Exception as error:  # a file that nobody thought of must not end the run
        return Unread(file, f"{file} cannot be measured ({type(error).__name__}: {error}).")
    reading = checked.measured.reading
    # All other findings can be had again from the figures; these were read in the file.
    claims = [finding for finding in checked.verdicts[0].findings if finding.about == "claims"]
    return Kept(
        file,
        checked.seen,
        reading.seconds,
        reading.integrated,
        reading.max_true_peak,
        *pack(checked.measured, claims),
        passes=checked.passes,
    )
