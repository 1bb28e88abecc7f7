"""Copies whose audio libsndfile codes: through a file of ours, since it says of no write why it failed."""

from __future__ import annotations

import zlib
from typing import BinaryIO

from sidecar.delivery.match.copy_samples import Samples
from sidecar.errors import SourceError

_READ_FRAMES = 65_536


class CodedOutput:
    """A file that libsndfile writes to. No exception may pass through its calls: the first is kept."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self.starts: list[int] = []
        """Where each write began. A FLAC encoder writes frame by frame."""
        self.error: OSError | None = None

    def write(self, content: bytes) -> int:
        try:
            self.starts.append(self._file.tell())
            return self._written(content)
        except OSError as error:
            self.error = self.error or error
            return 0

    def _written(self, content: bytes) -> int:
        return self._file.write(content)

    def read(self, size: int = -1) -> bytes:
        return self._file.read(size)

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()


def code(samples: Samples, target: BinaryIO) -> CodedOutput:
    """Writes the levelled samples in the container and coding of their source, and the text that libsndfile
    knows of it.

    Whole numbers are read back: the library's coder of 20 bits, for one, gives other samples than it has got.
    Raises SourceError where the library cannot write that coding, OSError where *target* cannot be written.
    """
    import soundfile

    sound = samples.sound
    written = 0
    shape = {"samplerate": sound.samplerate, "channels": sound.channels}
    coding = {"format": sound.format, "subtype": sound.subtype, "endian": sound.endian}
    output = CodedOutput(target)
    try:
        with soundfile.SoundFile(output, "w", **shape, **coding) as new:
            for name, text in sound.copy_metadata().items():
                setattr(new, name, text)
            for block in samples.levelled():
                new.write(block)
                written = zlib.crc32(block.data, written)
    except (RuntimeError, ValueError) as error:
        if output.error is None:
            raise SourceError(
                f"{sound.format} with {sound.subtype} cannot be written here ({error}). Convert it to WAV."
            ) from error
    if output.error is not None:
        raise output.error
    if samples.bits is not None and _read_back(output) != written:
        raise SourceError(
            f"{sound.format} with {sound.subtype} cannot be written here: the library writes other samples "
            "than it is given. Convert it to WAV."
        )
    return output


def _read_back(output: CodedOutput) -> int:
    """The checksum of the samples that were written, as int32."""
    import soundfile

    found = 0
    output.seek(0)
    try:
        with soundfile.SoundFile(output) as sound:
            left = int(sound.frames)
            while left and len(block := sound.read(min(left, _READ_FRAMES), dtype="int32", always_2d=True)):
                found = zlib.crc32(block.data, found)
                left -= len(block)
    except RuntimeError:
        return -1
    return found
