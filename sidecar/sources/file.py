"""Audio from a file, streamed: as fast as it is taken, or at the pace it would play."""

from __future__ import annotations

import os
import re
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Literal

from sidecar.errors import SourceError
from sidecar.sources import Block
from sidecar.vocabulary import FloatArray

_WAIT_S = 0.1
_UNKNOWN_FRAMES = 2**62  # libsndfile gives the largest count there is, and cannot read to the end
_BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
_EXPORT_AGAIN = "Export or copy it again."

# libsndfile takes a data chunk that ends too early for a shorter file and only says so in its notes.
_CHUNK_CUT = re.compile(r"^\s*(?:data|SSND|riff|Riff size)\s*:\s*(\d+) \(should be (\d+)\)", re.MULTILINE)
_SLOPPY_BYTES = 64  # some writers count a chunk's header in or leave out its padding
_PLACEHOLDER_BYTES = 2**16  # who writes to a pipe does not know the length: just under 2³¹ or 2³²


class FileSource:
    """A sound file as a source, open from construction on.

    pace: "real" gives each block when it would have been played, "fast" at once. block_frames: frames
    a block, at most; never more than 0.1 s of them at the real pace. now, wait: the clock in seconds,
    and a wait that returns when the seconds are over (the default also when the source is closed).

    Frames are float64 where the file is, else float32. Raises SourceError when there is no such file,
    when it is not audio, or empty; :meth:`blocks` raises it at the place where a damaged file breaks.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        *,
        pace: Literal["real", "fast"] = "real",
        block_frames: int = 4800,
        now: Callable[[], float] = time.monotonic,
        wait: Callable[[float], object] | None = None,
    ) -> None:
        self._path = Path(path)
        self._file = _open(self._path)
        self._rate_hz = int(self._file.samplerate)
        self._channels = int(self._file.channels)
        self._frames = int(self._file.frames)
        self._dtype = "float64" if self._file.subtype == "DOUBLE" else "float32"
        # MPEG streams without a frame count only estimate their length.
        self._uncertain_frames = self._rate_hz if self._file.subtype.startswith("MPEG") else 0
        self._cut = _cut(self._file.extra_info)
        self._pace = pace
        self._step = block_frames
        if pace == "real":
            self._step = max(1, min(block_frames, int(_WAIT_S * self._rate_hz)))
        self._closed = threading.Event()
        self._reading = threading.Lock()
        self._now = now
        self._wait = wait or self._closed.wait

    @property
    def title(self) -> str:
        return self._path.name

    @property
    def rate_hz(self) -> int:
        return self._rate_hz

    @property
    def channels(self) -> int:
        return self._channels

    @property
    def container(self) -> str:
        """libsndfile's name of the file format: WAV, RF64, AIFF, FLAC, OGG, MPEG …"""
        return str(self._file.format)

    @property
    def encoding(self) -> str:
        """libsndfile's name of how samples are coded: PCM_16, FLOAT, VORBIS …"""
        return str(self._file.subtype)

    @property
    def full_scale(self) -> float:
        """The highest size a sample can have: 1.0, less one step where samples are integers."""
        bits = _BITS.get(self.encoding)
        return 1.0 if bits is None else 1.0 - 2.0 ** (1 - bits)

    @property
    def duration_s(self) -> float:
        return self._frames / self._rate_hz

    def blocks(self) -> Iterator[Block]:
        """The file's frames in order, once; nothing is ever lost from a file."""
        start_s = self._now()
        given = 0
        try:
            while given < self._frames:
                frames = self._read(given)
                if frames is None:
                    return
                given += len(frames)
                if self._pace == "real":
                    # Against the start, not the block before: lateness does not add up.
                    self._wait(max(0.0, start_s + given / self._rate_hz - self._now()))
                    if self._closed.is_set():
                        return
                yield Block(frames)
            if self._cut is not None:
                raise SourceError(
                    f"{self._path} is cut off after {given / self._rate_hz:.1f} s: {self._cut}. "
                    f"{_EXPORT_AGAIN}"
                )
        finally:
            self.close()

    def close(self) -> None:
        self._closed.set()
        with self._reading:
            self._file.close()

    def _read(self, given: int) -> FloatArray | None:
        with self._reading:
            if self._closed.is_set():
                return None
            try:
                frames: FloatArray = self._file.read(self._step, dtype=self._dtype, always_2d=True)
            except RuntimeError as error:
                raise SourceError(self._broken(given, str(error))) from error
        if len(frames) == 0 and self._frames - given > self._uncertain_frames:
            raise SourceError(self._broken(given, "there is no audio after that"))
        return frames if len(frames) else None

    def _broken(self, given: int, why: str) -> str:
        return (
            f"{self._path} is damaged: it can be read for {given / self._rate_hz:.1f} s of "
            f"{self.duration_s:.1f} s ({why.rstrip('.')}). {_EXPORT_AGAIN}"
        )


def _cut(notes: str) -> str | None:
    """What libsndfile's notes say about audio that the file promises and does not hold."""
    for promised, present in ((int(a), int(b)) for a, b in _CHUNK_CUT.findall(notes)):
        placeholder = any(0 <= power - promised <= _PLACEHOLDER_BYTES for power in (2**31, 2**32))
        if promised - present > _SLOPPY_BYTES and not placeholder:
            return f"it promises {promised} bytes of audio and holds {present}"
    return None


def _open(path: Path) -> Any:
    try:
        import soundfile
    except OSError as error:
        raise SourceError(
            f"The library that reads sound files is missing ({error}). Install it: "
            "pip install --force-reinstall soundfile"
        ) from error
    if path.is_dir():
        raise SourceError(f"{path} is a folder, not a sound file. Name the files in it.")
    try:
        with path.open("rb") as readable:
            blank = not readable.read(1)
        file = None if blank else soundfile.SoundFile(path)
    except FileNotFoundError as error:
        raise SourceError(f"There is no file {path}. Check its name and folder.") from error
    except OSError as error:
        raise SourceError(f"{path} cannot be read: {error.strerror}. Check its permissions.") from error
    except (RuntimeError, TypeError) as error:  # TypeError: headerless samples
        raise SourceError(
            f"{path} is not audio that can be read ({error}). WAV, RF64, AIFF, CAF, FLAC, Ogg and MP3 can."
        ) from error
    if file is None or file.frames <= 0:
        raise SourceError(f"{path} is empty: a sound file without any frames. {_EXPORT_AGAIN}")
    if file.frames >= _UNKNOWN_FRAMES:
        file.close()
        raise SourceError(f"{path} does not tell how long it is, as if written to a pipe. {_EXPORT_AGAIN}")
    return file
