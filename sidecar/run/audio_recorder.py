"""Writes the audio that a run measured to a sound file, as evidence for its figures."""

from __future__ import annotations

import contextlib
import queue
import threading
from pathlib import Path
from typing import Protocol

import numpy as np
import soundfile

from sidecar.errors import OutputError, SettingsError
from sidecar.model.readings import FloatArray
from sidecar.wave.growing import GrowingWave

_MOST_BLOCKS = 1000
"""Blocks of a device last 10 to 100 ms: a disk may stand still for 10 s before sound is left out."""
_CLOSE_S = 10.0
_PIECE_FRAMES = 65_536
_SAMPLE_BYTES = {"FLOAT": 4, "PCM_24": 3}
_UNLIMITED = (".flac", ".caf", ".w64", ".raw")
"""Formats whose sizes are 64 bits wide, or that have none (RFC 9639; the others from memory)."""
_LIMIT_BYTES = 2**32 - 2**16
"""Sound that a format with 32-bit sizes holds: libsndfile writes on behind it without a word, and what its
header then says is wrong."""


class _SoundFile(Protocol):
    def write(self, frames: FloatArray, /) -> None: ...

    def close(self) -> None: ...


class AudioRecorder:
    """Takes frames from one thread and writes them in another: the measuring never waits for a disk."""

    def __init__(self, path: Path, rate_hz: int, channels: int, *, waits: bool = False) -> None:
        """The suffix says the format: .wav, which becomes RF64 where it outgrows 4 GiB, .rf64, .flac, or
        another without loss that libsndfile knows.
        waits: :meth:`take` waits for the disk, where the source can be made to wait.

        Raises SettingsError for a format that cannot hold the sound, OutputError for a file that exists or
        cannot be written.
        """
        subtype = _subtype(path)
        if subtype is None:
            raise SettingsError(f"{path} is no lossless format: give --write a .wav, .flac or .rf64 file.")
        _reserve(path)
        try:
            self._file = _opened(path, rate_hz, channels, subtype)
        except (OSError, ValueError, TypeError, soundfile.LibsndfileError) as error:
            path.unlink()
            why = getattr(error, "error_string", str(error)).rstrip(".")
            raise SettingsError(
                f"{path} cannot hold {channels} channels at {rate_hz} Hz ({why}): give --write a .wav file."
            ) from error
        self._path = path
        self._channels = channels
        self._waits = waits
        self._frames: queue.Queue[FloatArray | int | None] = queue.Queue(_MOST_BLOCKS)
        """Frames, how many are silent, or the end."""
        self._rate_hz = rate_hz
        self._why = ""
        self._left_out = 0
        """Frames that found no room in the queue, to be made up for by silence; the caller's thread alone."""
        self._owed = 0
        """Frames that the disk did not take, to be made up for by silence; the writer's thread alone."""
        self._thread = threading.Thread(target=self._run, name="audio recorder", daemon=True)
        self._thread.start()

    @property
    def fault(self) -> str:
        """Why the file is not whole, in a sentence to show; empty while it is."""
        return f"{self._path} is incomplete: {self._why}." if self._why else ""

    def record_frames(self, frames: FloatArray, lost: int = 0, rate_hz: int | None = None) -> None:
        """Writes frames, shape (n, channels), soon; *lost* ones before them become silence.

        rate_hz: theirs, where it may have changed; at another one than the file's they are left out.
        """
        if rate_hz not in (None, self._rate_hz):
            self._why = f"what came at {rate_hz} Hz does not fit into it"
            return
        lost += self._left_out
        self._left_out = 0
        if lost and not self._put(lost):
            self._left_out = lost
        if len(frames) and (self._left_out or not self._put(frames)):
            self._left_out += len(frames)

    def close(self) -> None:
        """Writes what is left; a disk that hangs is not waited for long."""
        with contextlib.suppress(queue.Full):
            self._frames.put(None, timeout=_CLOSE_S)
        self._thread.join(_CLOSE_S)
        if self._thread.is_alive():
            self._why = "the disk does not answer"

    def _put(self, frames: FloatArray | int) -> bool:
        """False where there was no room."""
        try:
            self._frames.put(frames, block=self._waits)
        except queue.Full:
            self._why = "the disk was too slow; the missing part is silent"
            return False
        return True

    def _run(self) -> None:
        while (frames := self._frames.get()) is not None:
            if isinstance(frames, int):
                self._write_silence(frames)
            else:
                self._write(frames)
        try:
            self._file.close()
        except (OSError, soundfile.LibsndfileError) as error:
            self._why = _said(error)

    def _write_silence(self, frames: int) -> None:
        """Writes silence in pieces: a device that was away for an hour would need gigabytes at once."""
        for left in range(frames, 0, -_PIECE_FRAMES):
            self._write(np.zeros((min(left, _PIECE_FRAMES), self._channels), np.float32))

    def _write(self, frames: FloatArray) -> None:
        """Silence replaces what the disk did not take, so that all that follows keeps its time."""
        self._owed += len(frames)
        try:
            while self._owed > len(frames):
                silent = min(self._owed - len(frames), _PIECE_FRAMES)
                self._file.write(np.zeros((silent, self._channels), np.float32))
                self._owed -= silent
            self._file.write(frames)
            self._owed = 0
        except AssertionError:  # soundfile's word for a disk that took only some of it
            self._why = "the disk is full"
        except (OSError, soundfile.LibsndfileError) as error:
            self._why = _said(error)


class _Limited:
    """A sound file that ends where its sizes do, instead of going on behind them."""

    def __init__(self, path: Path, rate_hz: int, channels: int, subtype: str) -> None:
        self._file = soundfile.SoundFile(path, "w", rate_hz, channels, subtype)
        room_bytes = float("inf") if path.suffix.lower() in _UNLIMITED else _LIMIT_BYTES
        self._room_frames = room_bytes // (channels * _SAMPLE_BYTES[subtype])

    def write(self, frames: FloatArray) -> None:
        self._room_frames -= len(frames)
        if self._room_frames < 0:
            raise OSError(f"{self._file.format} ends at 4 GiB; use .wav")
        self._file.write(frames)

    def close(self) -> None:
        self._file.close()


def _opened(path: Path, rate_hz: int, channels: int, subtype: str) -> _SoundFile:
    suffix = path.suffix.lower()
    if suffix in (".wav", ".rf64"):
        return GrowingWave(path, rate_hz, channels, is_long=suffix == ".rf64")
    return _Limited(path, rate_hz, channels, subtype)


def _said(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error).rstrip(".")


def _reserve(path: Path) -> None:
    """The system says better than libsndfile why a file cannot be had."""
    try:
        path.open("xb").close()
    except FileExistsError as error:
        raise OutputError(f"{path} exists already: give --write another name, or move it away.") from error
    except OSError as error:
        raise OutputError(
            f"{path} cannot be written: {error.strerror}. Give --write a file in a folder that is yours."
        ) from error


def _subtype(path: Path) -> str | None:
    """Floats where the format has them: a bus may pass full scale, and a meter must see by how much."""
    known = soundfile.available_subtypes(path.suffix.removeprefix(".").upper() or "none")
    return next((subtype for subtype in ("FLOAT", "PCM_24") if subtype in known), None)
