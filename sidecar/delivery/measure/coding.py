"""The peaks of a file after lossy coding: encoded, decoded and measured again.

Coders leave out inaudible parts, and what is left can peak higher than what was put in (EBU Tech 3343
§11.2.3 asks for more headroom there). How much depends on the encoder and its bit rate: the figures hold for
the ones that libsndfile writes, at the quality that is stated.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure.resampling import resampled
from sidecar.delivery.measure.whole_file import measure
from sidecar.errors import SourceError
from sidecar.sources.sound_file import SoundFile

_READ_FRAMES = 16_384
"""libsndfile's Vorbis writer keeps what it is given at a time on its stack."""
_ENCODING_SHARE = 0.7
"""Of the time that one coder takes, roughly: the rest is decoding and measuring."""

_MPEG_RATES = (8_000, 11_025, 12_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000)
"""ISO/IEC 11172-3 and 13818-3, and the half rates that encoders add to them (from memory)."""
_OPUS_RATES = (8_000, 12_000, 16_000, 24_000, 48_000)
"""RFC 6716 §2.1.3, table 1."""


@dataclass(frozen=True, slots=True)
class Coder:
    """One encoder at one quality."""

    name: str
    quality: str
    format: str
    """libsndfile's names."""
    subtype: str
    level: float
    """libsndfile's scale of compression: 0 is the best quality, 1 the smallest file."""
    bit_rate_mode: str | None = None
    rates_hz: tuple[int, ...] = ()
    """The sample rates that it takes; empty where it takes any."""
    most_channels: int = 255


# libsndfile 1.2.2 maps its scale evenly: MP3 of a constant rate from 320 down to 32 kbit/s, Opus from 256
# down to 6 kbit/s a channel, Vorbis from quality 10 down to 0. The rates were read off files that it wrote.
CODERS = (
    Coder(
        *("MP3", "192 kbit/s", "MP3", "MPEG_LAYER_III", (320 - 192) / (320 - 32)),
        bit_rate_mode="CONSTANT",
        rates_hz=_MPEG_RATES,
        most_channels=2,
    ),
    Coder("Vorbis", "quality 5", "OGG", "VORBIS", 0.5),
    Coder(*("Opus", "64 kbit/s a channel", "OGG", "OPUS", 1.0 - (64 - 6) / (256 - 6)), rates_hz=_OPUS_RATES),
)
"""Ours: qualities in the middle of what is delivered."""


@dataclass(frozen=True, slots=True)
class Coded:
    """A file as one coder leaves it."""

    coder: str
    """Its name: MP3, Vorbis, Opus."""
    quality: str
    """In words, as it was asked for."""
    sample_rate: int
    """Hz, of the coded copy."""
    kbit_per_s: float
    """What the copy came to, its container included."""
    true_peak_dbtp: float
    """The highest of all channels, decoded; ``-inf`` in silence."""
    at_s: float | None
    """Where the 100 ms block begins that holds the highest; None in silence."""


def coded(
    path: Path,
    layout: str | None,
    progress: Callable[[float], None] = lambda _share: None,
    *,
    workers: int | None = None,
) -> tuple[Coded, ...]:
    """What each coder that takes this file makes of it; memory does not grow with its length.

    The coded copies lie in the system's folder for temporary files, one at a time.
    Raises SourceError where the file cannot be read or a copy cannot be written.
    """
    with SoundFile(path) as file:
        coders = [coder for coder in CODERS if file.channels <= coder.most_channels and _is_written(coder)]
    made = []
    for number, coder in enumerate(coders):

        def share(done: float, number: int = number) -> None:
            progress((number + done) / len(coders))

        made.append(_coded_by(coder, path, layout, share, workers))
    return tuple(made)


def _is_written(coder: Coder) -> bool:
    """Whether this machine's libsndfile has the encoder: builds differ."""
    import soundfile

    return bool(soundfile.check_format(coder.format, coder.subtype))


def _coded_by(
    coder: Coder, path: Path, layout: str | None, progress: Callable[[float], None], workers: int | None
) -> Coded:
    with TemporaryDirectory(prefix="sidecar-") as folder, SoundFile(path) as file:
        copy = Path(folder) / "coded"
        rate_hz = _rate_for(coder, file.rate_hz)
        _encode(coder, file, copy, rate_hz, lambda share: progress(share * _ENCODING_SHARE))
        kbit_per_s = copy.stat().st_size * 8.0 / 1000.0 / max(file.duration_s, 1e-3)
        rest = 1.0 - _ENCODING_SHARE
        measured = measure(
            copy, layout, lambda share: progress(_ENCODING_SHARE + share * rest), workers=workers
        )
    return Coded(
        coder.name,
        coder.quality,
        rate_hz,
        round(kbit_per_s, 1),
        measured.reading.max_true_peak,
        measured.max_true_peak_at_s,
    )


def _rate_for(coder: Coder, rate_hz: int) -> int:
    """The file's own rate where the coder takes it, else the next that it is usually delivered at."""
    if not coder.rates_hz or rate_hz in coder.rates_hz:
        return rate_hz
    return 44_100 if rate_hz % 44_100 == 0 and 44_100 in coder.rates_hz else 48_000


def _encode(
    coder: Coder, file: SoundFile, copy: Path, rate_hz: int, progress: Callable[[float], None]
) -> None:
    import soundfile

    mode = {} if coder.bit_rate_mode is None else {"bitrate_mode": coder.bit_rate_mode}
    try:
        with soundfile.SoundFile(
            *(str(copy), "w", rate_hz, file.channels, coder.subtype),
            format=coder.format,
            compression_level=coder.level,
            **mode,
        ) as target:
            for frames in resampled(_frames(file, progress), file.channels, file.rate_hz, rate_hz):
                target.write(frames)
    except (OSError, RuntimeError) as error:
        why = getattr(error, "error_string", str(error)).rstrip(".")
        raise SourceError(
            f"{file.path} cannot be coded as {coder.name} in {copy.parent} ({why}). Make room there, or "
            "set TMPDIR to a folder that has some."
        ) from error


def _frames(file: SoundFile, progress: Callable[[float], None]) -> Iterator[NDArray[np.float32]]:
    done = 0
    while len(frames := _read(file)):
        done += len(frames)
        progress(min(1.0, done / file.frames))
        yield frames


def _read(file: SoundFile) -> NDArray[np.float32]:
    """The next frames; what is no number is silence, as in the measuring."""
    frames: NDArray[np.float32] = file.read(_READ_FRAMES, "float32")
    frames[~np.isfinite(frames)] = 0.0
    return frames
