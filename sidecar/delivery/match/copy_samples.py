"""The samples of a sound file at another gain, and the bytes that hold them.

Whole numbers get triangular dither of two steps' width (J. Audio Eng. Soc. 40(5), 1992, from
memory), from a generator that starts from the CRC-32 of the source's name: the same
file gives the same copy, and no two files share their noise. Without gain samples stay as they are.
"""

from __future__ import annotations

import io
import os
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import SourceError
from sidecar.sources.sound_file import name_for_library, straight_reader
from sidecar.wave.view import view

_BLOCK_FRAMES = 65_536
WHOLE_NUMBER_BITS = {
    "PCM_S8": 8,
    "PCM_U8": 8,
    "PCM_16": 16,
    "PCM_24": 24,
    "PCM_32": 32,
    "ALAC_16": 16,
    "ALAC_20": 20,
    "ALAC_24": 24,
    "ALAC_32": 32,
}
"""Word lengths of libsndfile's lossless encodings of whole numbers."""
FLOATING_BITS = {"FLOAT": 32, "DOUBLE": 64}
_PACKED = frozenset(("PCM_S8", "PCM_U8", "PCM_16", "PCM_24", "PCM_32", *FLOATING_BITS))
"""Encodings of which every sample has its own bytes."""
ABOUT_THE_SAMPLES = frozenset((b"PEAK", b"peak", b"levl", b"ovvw", b"ovwf", b"MD5 ", b"umid"))
"""Chunks with peaks, an overview, a sum or an identifier of the samples (Tech 3285 supplement 3 for ``levl``,
the others by common practice, no source): they are not true of a copy at another gain."""


@dataclass(frozen=True, slots=True)
class Samples:
    """An open sound file whose samples are to be written at another gain."""

    sound: Any
    name: str
    """The file's name: where the dither's generator starts."""
    gain_db: float
    progress: Callable[[float], None]

    @property
    def bits(self) -> int | None:
        """The word length of whole numbers; None for floating point."""
        return WHOLE_NUMBER_BITS.get(self.sound.subtype)

    @property
    def is_packed(self) -> bool:
        return self.sound.subtype in _PACKED

    @property
    def frame_bytes(self) -> int:
        """Bytes of one frame where samples are packed."""
        return int(self.sound.channels) * (self.bits or FLOATING_BITS[self.sound.subtype]) // 8

    @property
    def total_bytes(self) -> int:
        """Bytes of all frames where samples are packed."""
        return int(self.sound.frames) * self.frame_bytes

    def levelled(self) -> Iterator[NDArray[Any]]:
        """Blocks at the new gain as libsndfile takes them: int32 for whole numbers, else float64."""
        random = np.random.default_rng(zlib.crc32(os.fsencode(self.name))) if self.gain_db else None
        factor, bits, done = 10.0 ** (self.gain_db / 20.0), self.bits, 0
        while len(frames := self._read(min(_BLOCK_FRAMES, self.sound.frames - done))):
            yield frames * factor if bits is None else _whole_numbers(frames * factor, bits, random)
            done += len(frames)
            self.progress(done / self.sound.frames)
        if done < self.sound.frames:
            raise SourceError(f"it ends after {done} of {self.sound.frames} frames. Export it again.")

    def packed(self, byte_order: str) -> Iterator[bytes]:
        """The bytes of the levelled samples; byte_order: libsndfile's BIG or LITTLE."""
        for block in self.levelled():
            yield self._bytes_of(block, byte_order)

    def refuse_other_packing(self, stored: bytes, byte_order: str) -> None:
        """Raises SourceError where *stored*, the first bytes of the audio, is not what the first frames
        give when they are packed: then their place or their coding in the file is another."""
        frames = self._read(len(stored) // self.frame_bytes)
        self.sound.seek(0)
        unmoved = frames if self.bits is None else _whole_numbers(frames, self.bits, None)
        if self._bytes_of(unmoved, byte_order) != stored:
            raise SourceError("its sample format cannot be copied. Convert it to WAV.")

    def _read(self, frames: int) -> NDArray[np.float64]:
        try:
            read: NDArray[np.float64] = self.sound.read(frames, dtype="float64", always_2d=True)
        except RuntimeError as error:
            raise SourceError(
                f"it is damaged: it cannot be read to its end ({error}). Export it again."
            ) from error
        return read

    def _bytes_of(self, block: NDArray[Any], byte_order: str) -> bytes:
        import soundfile

        raw = io.BytesIO()
        soundfile.write(raw, block, self.sound.samplerate, self.sound.subtype, byte_order, "RAW")
        return raw.getvalue()


@contextmanager
def opened(source: Path, gain_db: float, progress: Callable[[float], None]) -> Iterator[Samples]:
    """The samples of *source*.

    Raises SourceError when it cannot be read or is coded with loss: a second coding would change more than
    the gain.
    """
    try:
        sound = straight_reader()(view(source) or name_for_library(source))
    except (RuntimeError, TypeError) as error:  # TypeError: headerless samples
        raise SourceError(f"it cannot be read ({error}). Export it again.") from error
    with sound:
        if sound.subtype not in WHOLE_NUMBER_BITS and sound.subtype not in FLOATING_BITS:
            raise SourceError(
                f"its audio is coded as {sound.subtype}, with loss: a copy would be coded a second time. "
                "Apply the gain in the workstation, before coding."
            )
        yield Samples(sound, source.name, gain_db, progress)


def in_words(chunk: bytes) -> str:
    """A chunk's name as it is said to a person."""
    return "UMID" if chunk == b"umid" else f"{chunk.decode('ascii', 'replace').strip()} chunk"


def _whole_numbers(
    frames: NDArray[np.float64], bits: int, random: np.random.Generator | None
) -> NDArray[np.int32]:
    """Full scale 1.0 to *bits*, in the upper bits of an int32; dithered where there is a generator."""
    half = 2.0 ** (bits - 1)
    steps = frames * half
    if random is not None:
        steps += random.random(steps.shape) - random.random(steps.shape)
    whole = np.clip(np.rint(steps), -half, half - 1.0)
    return (whole * 2.0 ** (32 - bits)).astype(np.int32)
