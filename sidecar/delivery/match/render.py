"""Copies of sound files at another gain: same format, same metadata, dithered, measured again.

What a file carries beside its samples is kept byte for byte; what described the old samples is left out and
listed, and so is what a format gives no way to keep. Only lossless codings are written: a second coding with
loss would change more than the gain.
"""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from sidecar.delivery.match.copy_chunks import copy_chunks, copy_coded_caf
from sidecar.delivery.match.copy_flac import copy_flac
from sidecar.delivery.match.copy_library import code
from sidecar.delivery.match.copy_samples import Samples, opened
from sidecar.delivery.match.copy_wave import copy_wave
from sidecar.delivery.measure.whole_file import Measured, measure
from sidecar.errors import OutputError
from sidecar.storage.atomic_file import replacing
from sidecar.wave.bext import Claimed
from sidecar.wave.bext_write import fill
from sidecar.wave.chunks import is_wave, naming
from sidecar.wave.file_identity import FileIdentity, unchanged
from sidecar.wave.rewrite import refuse_without_room

_NO_ROOM = frozenset((errno.ENOSPC, errno.EDQUOT, errno.EFBIG))
_CHUNKED = frozenset(("AIFF", "CAF", "W64", "AU"))


@dataclass(frozen=True, slots=True)
class Carried:
    """What a copy has not taken over from its source, in words."""

    left_out: tuple[str, ...] = ()
    """What was true of the source's samples alone."""
    lost: tuple[str, ...] = ()
    """What could not be carried over."""


@dataclass(frozen=True, slots=True)
class Copy:
    """A finished copy."""

    measured: Measured
    carried: Carried


@dataclass(frozen=True, slots=True)
class Terms:
    """How a copy is made and measured."""

    layout: str | None = None
    """The channels' positions, as in the measuring."""
    workers: int | None = None
    """Threads that measure it, as in the measuring."""
    seen: FileIdentity | None = None
    """By what the source was known when its gain was worked out; None takes it as it is."""
    accept: Callable[[Measured], None] = lambda _measured: None
    """Called with what the complete copy measures; where it raises, nothing is written."""


def render(
    source: Path,
    target: Path,
    gain_db: float,
    progress: Callable[[float], None] = lambda _share: None,
    terms: Terms = Terms(),
) -> Copy:
    """Writes *source* at *gain_db* to *target*, which appears when all is done; a WAV is given its own
    loudness fields.

    progress: called with the share done, 0 to 1, now and then.
    Raises SourceError when the file changes or has changed, cannot be read or holds audio that was coded
    with loss, OutputError where the copy cannot be written.
    """
    with naming(source), _naming_target(source, target):
        target.parent.mkdir(parents=True, exist_ok=True)
        refuse_without_room(target.parent, source.stat().st_size)
        with replacing(target) as part, unchanged(source, terms.seen):
            with opened(source, gain_db, lambda share: progress(share / 2)) as samples:
                carried = _write(source, part, samples)
            shutil.copymode(source, part)
            measured = measure(
                part, terms.layout, lambda share: progress((1 + share) / 2), workers=terms.workers
            )
            terms.accept(measured)
            if is_wave(part):
                fill(part, Claimed.from_reading(measured.reading))
    return Copy(replace(measured, file=str(target)), carried)


def _write(source: Path, part: Path, samples: Samples) -> Carried:
    form = samples.sound.format
    with source.open("rb") as old, part.open("w+b") as new:
        if is_wave(source):
            return Carried(tuple(copy_wave(old, new, samples)))
        if form in _CHUNKED and samples.is_packed:
            return Carried(tuple(copy_chunks(old, new, samples)))
        if form in ("CAF", "FLAC"):
            with tempfile.TemporaryFile(dir=part.parent) as coded:
                output = code(samples, coded)
                if form == "FLAC":
                    return Carried(tuple(copy_flac(old, new, coded, output, samples)))
                return Carried(tuple(copy_coded_caf(old, new, coded, samples)))
        code(samples, new)
        return Carried(lost=(f"what a {form} file carries besides its title and other plain text",))


@contextmanager
def _naming_target(source: Path, target: Path) -> Iterator[None]:
    """Raises errors of the target as OutputError; errors of the source pass unchanged."""
    try:
        yield
    except OSError as error:
        is_elsewhere = error.filename is not None and os.fsdecode(error.filename) != str(source)
        if error.errno not in _NO_ROOM and not is_elsewhere:
            raise
        raise OutputError(
            f"{source}: its copy {target} cannot be written ({error.strerror}). Make room, or choose "
            "another folder."
        ) from error
