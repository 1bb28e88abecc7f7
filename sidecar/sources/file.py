"""Audio from a file, streamed: as fast as it is taken, or at the pace it would play."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Iterator
from typing import Literal

from sidecar.errors import SourceError
from sidecar.model.readings import FloatArray
from sidecar.sources import Block
from sidecar.sources.sound_file import SoundFile
from sidecar.wave.cues import time_reference

_WAIT_S = 0.1


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
        self._file = SoundFile(path)
        self.timecode_s = _timecode_s(self._file)
        """When the first frame is, seconds from midnight; None where the file does not say."""
        self._dtype = "float64" if self._file.encoding == "DOUBLE" else "float32"
        self._pace = pace
        self._step = block_frames
        if pace == "real":
            self._step = max(1, min(block_frames, int(_WAIT_S * self._file.rate_hz)))
        self._closed = threading.Event()
        self._halted = threading.Event()
        self._given = 0
        self._reading = threading.Lock()
        self._now = now
        self._wait = wait or self._closed.wait

    @property
    def title(self) -> str:
        return self._file.path.name

    @property
    def rate_hz(self) -> int:
        return self._file.rate_hz

    @property
    def channels(self) -> int:
        return self._file.channels

    @property
    def positions(self) -> tuple[str, ...] | None:
        """Of the loudspeakers, in the order of the channels; None where the file names none."""
        return self._file.named.positions

    @property
    def duration_s(self) -> float:
        return self._file.duration_s

    @property
    def left_s(self) -> float:
        return max(0.0, self.duration_s - self._given / self.rate_hz)

    def halt(self) -> None:
        if self._pace == "real":
            self._halted.set()

    def go_on(self) -> None:
        self._halted.clear()

    def blocks(self) -> Iterator[Block]:
        """The file's frames in order, once; nothing is ever lost from a file."""
        start_s = self._now()
        try:
            while (frames := self._read()) is not None and len(frames):
                while self._halted.is_set() and not self._closed.is_set():
                    halted_s = self._now()
                    self._wait(_WAIT_S)
                    start_s += self._now() - halted_s
                    yield Block(frames[:0])
                self._given += len(frames)
                if self._pace == "real":
                    # Against the start, not the block before: lateness does not add up.
                    self._wait(max(0.0, start_s + self._given / self.rate_hz - self._now()))
                    if self._closed.is_set():
                        return
                yield Block(frames)
            if frames is not None:
                self._file.check_complete()
        finally:
            self.close()

    def close(self) -> None:
        self._closed.set()
        with self._reading:
            self._file.close()

    def _read(self) -> FloatArray | None:
        """None when closed."""
        with self._reading:
            return None if self._closed.is_set() else self._file.read(self._step, self._dtype)


def _timecode_s(file: SoundFile) -> float | None:
    """EBU Tech 3285, time reference; midnight is what most files hold that were never given one."""
    try:
        return time_reference(file.path) / file.rate_hz or None
    except SourceError:  # its audio may be sound all the same
        return None
