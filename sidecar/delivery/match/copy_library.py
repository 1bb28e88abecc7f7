"""Copies whose audio libsndfile codes: through a file of ours, since it says of no write why it failed."""

from __future__ import annotations

from typing import BinaryIO

from sidecar.delivery.match.copy_samples import Samples
from sidecar.errors import SourceError


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

    Raises SourceError where the library cannot write that coding, OSError where *target* cannot be written.
    """
    import soundfile

    sound = samples.sound
    shape = {"samplerate": sound.samplerate, "channels": sound.channels}
    coding = {"format": sound.format, "subtype": sound.subtype, "endian": sound.endian}
    output = CodedOutput(target)
    try:
        with soundfile.SoundFile(output, "w", **shape, **coding) as new:
            for name, text in sound.copy_metadata().items():
                setattr(new, name, text)
            for block in samples.levelled():
                new.write(block)
    except (RuntimeError, ValueError) as error:
        if output.error is None:
            raise SourceError(
                f"{sound.format} with {sound.subtype} cannot be written here ({error}). Convert it to WAV."
            ) from error
    if output.error is not None:
        raise output.error
    return output
