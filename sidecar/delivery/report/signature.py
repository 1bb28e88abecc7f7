"""Who measured what, when and with what: the part of a report that makes it a proof."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from sidecar.version import program_version


@dataclass(frozen=True, slots=True)
class Signature:
    """One run of the check."""

    at: datetime
    """UTC."""
    by: str = ""
    """Name of the person who measured; empty where not given."""

    @classmethod
    def now(cls, by: str = "") -> Signature:
        return cls(datetime.now(UTC), by)

    @property
    def when(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M:%S} UTC"

    @property
    def program(self) -> str:
        return f"Loudness Sidecar {program_version()}"


_FORMATS = {
    "WAV": "WAV",
    "WAVEX": "WAV (extensible)",
    "RF64": "RF64 (WAV beyond 4 GB)",
    "MPEG": "MPEG audio",
    "OGG": "Ogg",
}
_ENCODINGS = {
    "PCM_S8": "8-bit PCM",
    "PCM_U8": "8-bit PCM",
    "PCM_16": "16-bit PCM",
    "PCM_24": "24-bit PCM",
    "PCM_32": "32-bit PCM",
    "FLOAT": "32-bit floating point",
    "DOUBLE": "64-bit floating point",
    "VORBIS": "Vorbis",
    "OPUS": "Opus",
    "MPEG_LAYER_I": "Layer I",
    "MPEG_LAYER_II": "Layer II",
    "MPEG_LAYER_III": "Layer III",
}


def format_words(container: str, encoding: str) -> str:
    """libsndfile's names in words; a name that is not known stays as it is."""
    return f"{_FORMATS.get(container, container)}, {_ENCODINGS.get(encoding, encoding)}"
