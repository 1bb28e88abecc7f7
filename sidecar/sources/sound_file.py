"""A sound file on the disk: opened, found whole or damaged, read in order from any frame."""

from __future__ import annotations

import errno
import os
import re
import stat
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import SourceError
from sidecar.sources import remarks
from sidecar.sources.loudspeakers.named import Named, named_loudspeakers
from sidecar.sources.ogg import OggFile, walk_ogg
from sidecar.sources.remarks import Remark
from sidecar.wave.chunks import is_placeholder
from sidecar.wave.view import view

_UNKNOWN_FRAMES = 2**62  # libsndfile gives the largest count there is, and cannot read to the end
_EXPORT_AGAIN = "Export or copy it again."

_NATIVE = {
    "PCM_S8": "int16",
    "PCM_U8": "int16",
    "PCM_16": "int16",
    "PCM_24": "int32",
    "PCM_32": "int32",
    "DOUBLE": "float64",
}
"""Types that hold the samples as they are, so that they are not converted twice; all else is float32."""
_BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
_LOSSLESS = frozenset(("WAV", "WAVEX", "RF64", "W64", "AIFF", "CAF", "AU", "FLAC"))
"""Containers in which a place is found to the frame, unless the samples in them are coded in packets."""

# libsndfile takes a data chunk that ends too early for a shorter file and only says so in its notes.
_CHUNK_CUT = re.compile(r"^\s*(?:data|SSND|riff|Riff size)\s*:\s*(\d+) \(should be (\d+)\)", re.MULTILINE)
_SLOPPY_BYTES = 64  # some writers count a chunk's header in or leave out its padding
_MOST_MISSING_S = 1.0
"""Ours: an intact Ogg whose decoder leaves out more than that is not read rightly."""


class SoundFile:
    """An open sound file.

    Raises SourceError when there is no such file, when it is not audio, or empty; :meth:`read` and
    :meth:`finish` raise it at the place where a damaged file breaks.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = Path(path)
        self._file = _open(self.path)
        self.rate_hz = int(self._file.samplerate)
        self.channels = int(self._file.channels)
        self.frames = int(self._file.frames)
        """Frames there should be; MPEG streams without a count only estimate it."""
        self.container = str(self._file.format)
        """libsndfile's name of the file format: WAV, RF64, BW64, AIFF, FLAC, OGG, MPEG …"""
        self.encoding = str(self._file.subtype)
        """libsndfile's name of how samples are coded: PCM_16, FLOAT, VORBIS …"""
        self._uncertain_frames = self.rate_hz if self.encoding.startswith("MPEG") else 0
        self._cut = _cut(self._file.extra_info)
        self._pages: OggFile | None = None
        """Known when all has been read."""
        self._at = 0

    @property
    def duration_s(self) -> float:
        return self.frames / self.rate_hz

    @property
    def full_scale(self) -> float:
        """The highest size a sample can have: 1.0, less one step where samples are integers."""
        bits = _BITS.get(self.encoding)
        return 1.0 if bits is None else 1.0 - 2.0 ** (1 - bits)

    @property
    def native_type(self) -> str:
        """The type in which :meth:`read` gives samples as they are, full scale that type's own."""
        return _NATIVE.get(self.encoding, "float32")

    @property
    def finds_frames(self) -> bool:
        """Whether :meth:`seek` arrives at the very frame."""
        exact = self.encoding in _NATIVE or self.encoding == "FLOAT"
        return exact and self.container in _LOSSLESS

    def seek(self, frame: int) -> None:
        """The next :meth:`read` begins there."""
        try:
            self._at = int(self._file.seek(frame))
        except RuntimeError as error:
            raise SourceError(self._broken(frame, str(error))) from error

    def read(self, frames: int, dtype: str) -> NDArray[Any]:
        """The next frames, shape (n, channels), n ≤ *frames*; n is 0 behind the last one."""
        return self.read_into(np.empty((frames, self.channels), dtype))

    def read_into(self, room: NDArray[Any]) -> NDArray[Any]:
        """As :meth:`read`, into the first rows of *room*, which are returned."""
        wanted = min(len(room), self.frames - self._at)
        if wanted <= 0:
            return room[:0]
        try:
            read: NDArray[Any] = self._file.read(wanted, always_2d=True, out=room[:wanted])
        except RuntimeError as error:
            raise SourceError(self._broken(self._at, str(error))) from error
        is_short = len(read) == 0 and self.frames - self._at > self._uncertain_frames
        if is_short and self.container != "OGG":  # of which the pages tell
            raise SourceError(self._broken(self._at, "there is no audio after that"))
        self._at += len(read)
        return read

    def check_complete(self) -> None:
        """Raises SourceError for a file that was cut off; for when all that is there has been read."""
        if self._cut is not None:
            raise SourceError(
                f"{self.path} is cut off after {self.duration_s:.1f} s: {self._cut}. {_EXPORT_AGAIN}"
            )
        if self.container == "OGG":
            self._pages = self._whole_pages()

    @cached_property
    def named(self) -> Named:
        """The loudspeakers that the file names."""
        with self.path.open("rb") as file:
            return named_loudspeakers(file, self.channels)

    def remarks(self) -> list[Remark]:
        """What is odd about the file; all of it once :meth:`finish` has been called."""
        found = [*remarks.of_suffix(self.path, self.container), *remarks.of_chunks(self.path)]
        if self._pages is not None:
            if self._missing_frames > 0:
                found.append(remarks.missing_frames(self._missing_frames, self.rate_hz))
            found += remarks.of_pages(self._pages)
        return found

    def close(self) -> None:
        self._file.close()

    def __enter__(self) -> SoundFile:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _whole_pages(self) -> OggFile:
        """The pages of an Ogg file, which a decoder passes over in silence where they are broken."""
        with self.path.open("rb") as file:
            pages = walk_ogg(file)
        if pages.faults:
            more = f", and {len(pages.faults) - 1} more" if len(pages.faults) > 1 else ""
            raise SourceError(
                f"{self.path} is damaged or cut off: {pages.faults[0]}{more}. "
                f"{self._at / self.rate_hz:.1f} s of it can be read. {_EXPORT_AGAIN}"
            )
        if len(pages.audio) > 1:
            raise SourceError(
                f"{self.path} holds {len(pages.audio)} streams of audio and only the first can be read. "
                "Split it into a file for each."
            )
        self._pages = pages
        if self._missing_frames > _MOST_MISSING_S * self.rate_hz:
            raise SourceError(self._broken(self._at, "there is no audio after that"))
        return pages

    @property
    def _missing_frames(self) -> int:
        """How much less an Ogg file gave than it announces. Its last page counts from where the stream
        begins, which need not be 0, and libsndfile's count may be a little high: the lower one holds."""
        if self._pages is None or not self._pages.audio:
            return 0
        announced = self.frames
        if self.encoding == "VORBIS":
            announced = min(announced, self._pages.audio[0].granule)
        return max(0, announced - self._at)

    def _broken(self, given: int, why: str) -> str:
        return (
            f"{self.path} is damaged: it can be read for {given / self.rate_hz:.1f} s of "
            f"{self.duration_s:.1f} s ({why.rstrip('.')}). {_EXPORT_AGAIN}"
        )


def _cut(notes: str) -> str | None:
    """What libsndfile's notes say about audio that the file promises and does not hold."""
    for promised, present in ((int(a), int(b)) for a, b in _CHUNK_CUT.findall(notes)):
        if promised - present > _SLOPPY_BYTES and not is_placeholder(promised):
            return f"it promises {promised} bytes of audio and holds {present}"
    return None


@cache
def straight_reader() -> type[Any]:
    """soundfile's reader without its habit of seeking to where it is after every read: MPEG decoders take
    that for a jump, and what they give behind it is wrong for a moment."""
    import soundfile

    class Straight(soundfile.SoundFile):  # type: ignore[misc]  # soundfile is untyped
        def seekable(self) -> bool:
            return False

    return Straight


def name_for_library(path: Path) -> Path | bytes:
    """The name by which the library that reads and writes sound files opens this one: bytes, since on other
    systems than Windows names need not be text."""
    return path if os.name == "nt" else os.fsencode(path)


def refuse_irregular(path: Path) -> None:
    """Raises SourceError for a path that is no file: opening a pipe would wait for its writer."""
    try:
        mode = path.stat().st_mode
    except FileNotFoundError as error:
        if path.is_symlink():
            raise SourceError(
                f"{path} is a link to {path.readlink()}, which does not exist. Repair the link."
            ) from error
        raise SourceError(f"There is no file {path}. Check its name and folder.") from error
    except OSError as error:
        if error.errno == errno.ELOOP:
            raise SourceError(f"{path} is a link to itself. Leave it out.") from error
        raise SourceError(f"{path} cannot be read: {error.strerror}. Check its permissions.") from error
    if stat.S_ISDIR(mode):
        raise SourceError(f"{path} is a folder, not a sound file. Name the files in it.")
    if not stat.S_ISREG(mode):
        raise SourceError(f"{path} is a pipe or a device, not a sound file. Leave it out.")


def _open(path: Path) -> Any:
    try:
        reader = straight_reader()
    except OSError as error:
        raise SourceError(
            f"The library that reads sound files is missing ({error}). Install it: "
            "pip install --force-reinstall soundfile"
        ) from error
    refuse_irregular(path)
    try:
        with path.open("rb") as readable:
            blank = not readable.read(1)
        file = None if blank else reader(view(path) or name_for_library(path))
    except OSError as error:
        raise SourceError(f"{path} cannot be read: {error.strerror}. Check its permissions.") from error
    except (RuntimeError, TypeError) as error:  # TypeError: headerless samples
        why = getattr(error, "error_string", str(error)).rstrip(".")
        raise SourceError(
            f"{path} is not audio ({why}). Give WAV, RF64, AIFF, CAF, FLAC, Ogg or MP3."
        ) from error
    if file is None or file.frames <= 0:
        raise SourceError(f"{path} is empty: no audio frames. {_EXPORT_AGAIN}")
    if file.frames >= _UNKNOWN_FRAMES:
        file.close()
        raise SourceError(f"{path} does not tell how long it is, as if written to a pipe. {_EXPORT_AGAIN}")
    return file
