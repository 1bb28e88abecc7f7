"""Sources of audio. A source yields blocks of frames with the number of samples dropped between them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from sidecar.model.readings import FloatArray


@dataclass(frozen=True, slots=True)
class Block:
    """Some frames, in order. A block without frames means that the source is alive and nothing arrived."""

    frames: FloatArray
    """Shape (n, channels), full scale 1.0, n ≥ 0; owned by the receiver."""
    lost: int = 0
    """Frames that are missing between the block before and this one."""
    gain_db: float | None = None
    """Gain of the master fader in these frames, where the source knows it (the rehearsal does)."""
    stem_gains_db: tuple[float, ...] | None = None
    """Gains of the stem faders, before that fader, where the source knows them."""
    slept_s: float = 0.0
    """Seconds before this block in which the machine slept: whether audio played is unknown, so they are not
    counted in *lost*; but this block does not follow the one before."""
    stopped_s: float = 0.0
    """The same of seconds in which the machine was awake and the processes were stopped."""
    fault: str = ""
    """What keeps audio from arriving, in a sentence."""


class Source(Protocol):
    """Audio with a rate, a width and an end."""

    @property
    def title(self) -> str:
        """Name for messages: the device's or the file's."""

    @property
    def rate_hz(self) -> int:
        """Of the block that :meth:`blocks` gave last. A device may come back with another one than before."""

    @property
    def channels(self) -> int: ...

    @property
    def duration_s(self) -> float | None:
        """Length of the whole programme where it is known beforehand (a file, the rehearsal)."""

    def blocks(self) -> Iterator[Block]:
        """Yields blocks until the source ends or is closed; waits at most 0.1 s for each, then
        yields one without frames.

        Raises SourceError when the audio cannot be read, DeviceLost when a device is gone for good.
        """

    def close(self) -> None:
        """Ends :meth:`blocks` soon, from any thread; closing twice is harmless."""


@runtime_checkable
class TimecodeSource(Protocol):
    """A source whose frames have a time of day."""

    timecode_s: float | None
    """Of its first frame, seconds from midnight; None where it is not known."""


@runtime_checkable
class FaderSource(Source, Protocol):
    """A source whose master fader the sidecar itself holds."""

    @property
    def fader_db(self) -> float:
        """Present position of the fader, dB."""

    @property
    def fader_range_db(self) -> tuple[float, float]:
        """The lowest and the highest position, dB."""

    def move_fader(self, gain_db: float) -> None:
        """Sends the fader to that position, from any thread; it travels there at its own pace."""


@runtime_checkable
class PlayedSource(Source, Protocol):
    """A source that plays a programme from its start to its end, and can stop on the way."""

    @property
    def left_s(self) -> float | None:
        """Seconds of the programme that were not given yet; None where it has no end."""

    def halt(self) -> None:
        """Stops where it is: :meth:`blocks` yields blocks without frames. At the fast pace nothing stops."""

    def go_on(self) -> None:
        """Goes on where it was halted."""


@runtime_checkable
class StemFaderSource(Source, Protocol):
    """A source of stems side by side whose faders the sidecar itself holds."""

    def move_stem(self, name: str, gain_db: float) -> None:
        """Sends the fader of one stem to that position, from any thread."""
