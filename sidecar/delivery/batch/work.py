"""One file of an archive, measured wherever there is a processor for it; gives what is to be kept."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from sidecar.delivery.batch.packing import pack
from sidecar.delivery.judge.checking import Unread, check_file, extras, known_by
from sidecar.delivery.measure.dialogue import detector_version
from sidecar.delivery.measure.whole_file import MEASURING
from sidecar.errors import SidecarError
from sidecar.settings.goals import Goal
from sidecar.sources.sound_file import refuse_irregular
from sidecar.wave.file_identity import FileIdentity


@dataclass(frozen=True, slots=True)
class Job:
    """How all files of a run are measured."""

    layout: str | None
    goals: tuple[Goal, ...]
    meter: str
    """Whose figures are wanted: see :func:`meter_version`."""
    workers: int = 1
    """Threads that share one file."""
    with_digest: bool = False
    """Whether each file's SHA-256 is kept, by which a later run can compare contents."""
    with_dialogue: bool = False
    """Whether its dialogue loudness is measured."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A file that was measured, as it is kept."""

    file: str
    seen: FileIdentity
    """By what the file is known to be still the one that was measured."""
    seconds: float
    integrated_lufs: float
    max_true_peak_dbtp: float
    figures: str
    history: bytes
    passes: bool
    """Whether it meets all goals of this run."""
    digest: str | None = None
    """SHA-256 of the content that was measured; None where it was not asked for."""


Result = Kept | Unread


@cache
def meter_version(*, with_dialogue: bool = False) -> str:
    """By what figures are known to come from the same measuring: our own version of it, the library that
    decodes, and behind them what finds dialogue, where that is asked for.

    Raises MissingPackage where dialogue is asked for and the package that finds it is not installed.
    """
    import soundfile

    version = f"{MEASURING} {soundfile.__libsndfile_version__}"
    return f"{version} {detector_version()}" if with_dialogue else version


def measured(file: str, job: Job) -> Result:
    """Returns the result of one file, or why it cannot be measured: nothing is raised, no pipe is read."""
    try:
        refuse_irregular(Path(file))
        also = extras(dialogue=job.with_dialogue)
        checked = check_file(file, job.layout, job.goals, workers=job.workers, also=also)
        digest = known_by(checked).sha256 if job.with_digest else None
    except SidecarError as error:
        return Unread(file, str(error))
    except Exception as error:  # an unforeseen file must not end the run
        return Unread(file, f"{file} cannot be measured ({type(error).__name__}: {error}).")
    reading = checked.measured.reading
    return Kept(
        file,
        checked.seen,
        reading.seconds,
        reading.integrated,
        reading.max_true_peak,
        *pack(checked.measured, checked.from_file, checked.dialogue),
        passes=checked.passes,
        digest=digest,
    )
