"""What a run heard, written to a sound file: the proof that goes with the figures."""

from __future__ import annotations

import contextlib
import queue
import threading
from pathlib import Path

import numpy as np
import soundfile

from sidecar.errors import SettingsError
from sidecar.model.readings import FloatArray

_MOST_BLOCKS = 1000
"""Blocks of a device last 10 to 100 ms: a disk may stand still for 10 s before sound is left out."""
_CLOSE_S = 10.0
_PIECE_FRAMES = 65_536


class AudioRecorder:
    """Takes frames from one thread and writes them in another: the measuring never waits for a disk."""

    def __init__(self, path: Path, rate_hz: int, channels: int, *, waits: bool = False) -> None:
        """The suffix says the format: .wav, .flac, .rf64 for more than 4 GB, or another without loss that
        libsndfile knows.
        waits: :meth:`take` waits for the disk, where the source can be made to wait.

        Raises SettingsError for a file that exists or cannot be written.
        """
        subtype = _subtype(path)
        if subtype is None:
            raise SettingsError(
                f"{path} cannot be written without loss: give --write a .wav, .flac or .rf64 file."
            )
        _reserve(path)
        try:
            self._file = soundfile.SoundFile(path, "w", rate_hz, channels, subtype)
        except (OSError, ValueError, TypeError, soundfile.LibsndfileError) as error:
            path.unlink()
            why = getattr(error, "error_string", str(error)).rstrip(".")
            raise SettingsError(
                f"{path} cannot hold {channels} channels at {rate_hz} Hz ({why}): give --write a .wav file."
            ) from error
        self._channels = channels
        self._waits = waits
        self._frames: queue.Queue[FloatArray | int | None] = queue.Queue(_MOST_BLOCKS)
        """Frames, how many are silent, or the end."""
        self._rate_hz = rate_hz
        self.fault = ""
        """Why the file is not whole; empty while it is."""
        self._thread = threading.Thread(target=self._run, name="tape", daemon=True)
        self._thread.start()

    def take(self, frames: FloatArray, lost: int = 0, rate_hz: int | None = None) -> None:
        """Writes frames, shape (n, channels), soon; *lost* ones before them become silence.

        rate_hz: theirs, where it may have changed; at another one than the file's they are left out.
        """
        if rate_hz not in (None, self._rate_hz):
            self.fault = f"{self._file.name} is not whole: what came at {rate_hz} Hz does not fit into it."
            return
        if lost:
            self._put(lost)
        if len(frames):
            self._put(frames)

    def close(self) -> None:
        """Writes what is left; a disk that hangs is not waited for long."""
        with contextlib.suppress(queue.Full):
            self._frames.put(None, timeout=_CLOSE_S)
        self._thread.join(_CLOSE_S)

    def _put(self, frames: FloatArray | int) -> None:
        try:
            self._frames.put(frames, block=self._waits)
        except queue.Full:
            self.fault = f"{self._file.name} is not whole: the disk was too slow."

    def _run(self) -> None:
        with self._file:
            while (frames := self._frames.get()) is not None:
                if isinstance(frames, int):
                    self._write_silence(frames)
                else:
                    self._write(frames)

    def _write_silence(self, frames: int) -> None:
        """In pieces: a device that was away for an hour would ask for gigabytes at once."""
        for left in range(frames, 0, -_PIECE_FRAMES):
            self._write(np.zeros((min(left, _PIECE_FRAMES), self._channels), np.float32))

    def _write(self, frames: FloatArray) -> None:
        try:
            self._file.write(frames)
        except (OSError, soundfile.LibsndfileError) as error:
            self.fault = f"{self._file.name} is not whole: {error}."
        except AssertionError:  # the library's word for a disk that took only some of it
            self.fault = f"{self._file.name} is not whole: the disk is full."


def _reserve(path: Path) -> None:
    """The system says better than libsndfile why a file cannot be had."""
    try:
        path.open("xb").close()
    except FileExistsError as error:
        raise SettingsError(f"{path} exists already: give --write another name, or move it away.") from error
    except OSError as error:
        raise SettingsError(
            f"{path} cannot be written: {error.strerror}. Give --write a file in a folder that is yours."
        ) from error


def _subtype(path: Path) -> str | None:
    """Floats where the format has them: a bus may pass full scale, and a meter must see by how much."""
    known = soundfile.available_subtypes(path.suffix.removeprefix(".").upper() or "none")
    return next((subtype for subtype in ("FLOAT", "PCM_24") if subtype in known), None)
