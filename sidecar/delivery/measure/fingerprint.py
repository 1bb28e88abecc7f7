"""The size and the digest of a file, by which a report names it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from sidecar.errors import SourceError


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """By what a file can be known again."""

    size_bytes: int
    sha256: str

    @classmethod
    def of(cls, path: Path) -> Fingerprint:
        """Reads the whole file. Raises SourceError when that fails."""
        try:
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
                return cls(file.tell(), digest)
        except OSError as error:
            raise SourceError(
                f"{path} cannot be read again: {error.strerror}. Check that it still exists."
            ) from error
