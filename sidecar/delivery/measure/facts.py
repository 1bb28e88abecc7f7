"""What a file is beside its loudness: encoding, channels, offsets, silences, gaps, clipping."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

SHORTEST_SILENCE_S = 1.0
"""Ours: shorter stretches of digital zero are part of many programmes."""
SHORTEST_GAP_S = 0.001
"""Ours: shorter runs of zeros are part of many waveforms."""
GAP_EDGE_DBFS = -50.0
"""Ours: what is fainter right beside zeros has faded."""
MOST_GAPS = 10_000
"""Ours: what has more of them is made of them."""
QUIET_DBFS = -60.0
"""Ours: what stays under it before the first sound and behind the last is silence to who listens, faded or
dithered as it may be."""
MOST_HELD = 20
"""Ours: what is constant in more places is made so, as square waves are."""
CLIP_SAMPLES = 3
"""Samples in a row at full scale that count as clipped. Common practice, no source."""
CLIPS_LISTED = 20
"""Ours: clipped runs whose place is kept; the rest is counted."""


class Silence(NamedTuple):
    """A stretch of exact zeros in all channels."""

    start_s: float
    """Seconds from the file's first frame."""
    length_s: float
    """Seconds."""


class Held(NamedTuple):
    """A stretch in which every channel stays at one value, which is not silence in all of them."""

    start_s: float
    """Seconds from the file's first frame."""
    length_s: float
    """Seconds."""


@dataclass(frozen=True, slots=True)
class Gap:
    """A run of exact zeros in one channel, or in several at a time, with sound right before and after."""

    start_s: float
    """Seconds from the file's first frame."""
    length_s: float
    """Seconds."""
    channels: tuple[int, ...]
    """Counted from 0."""
    before_dbfs: float
    """Highest of the samples right before, in any of these channels."""
    after_dbfs: float
    """Highest of the samples right after, in any of these channels."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What was found in a file; every sequence of channels is in the file's order."""

    container: str
    """libsndfile's name: WAV, WAVEX, RF64, AIFF, CAF, FLAC, OGG, MPEG …"""
    encoding: str
    """libsndfile's name: PCM_16, PCM_24, FLOAT, DOUBLE, VORBIS, MPEG_LAYER_III …"""
    frames: int
    """How many were read."""
    sample_peak: tuple[float, ...]
    """dBFS, one a channel."""
    dc_offset: tuple[float, ...]
    """Mean of all samples, linear, full scale 1.0, one a channel."""
    identical_channels: bool = False
    """True where both channels of a stereo file hold the same samples: mono on two channels."""
    correlation: float | None = None
    """−1 to 1, of the two channels of a stereo file over its whole length; None where there are not two
    or one is silent."""
    silences: tuple[Silence, ...] = ()
    """Stretches of digital silence of 1 s and longer."""
    clipped_runs: int = 0
    """How often three or more samples in a row stand at full scale or above, over all channels."""
    clips_at_s: tuple[float, ...] = ()
    """Where the first 20 of them begin, in order."""
    gaps: tuple[Gap, ...] = ()
    """The first 10 000, in order."""
    held: tuple[Held, ...] = ()
    """Of 1 ms and longer; of more than 20 the first 21."""
    quiet_head_s: float = 0.0
    """How long no sample passes −60 dBFS at the head; the whole length where none ever does."""
    quiet_tail_s: float = 0.0
    """As at the head."""

    @property
    def first_clip_at_s(self) -> float | None:
        """None where nothing is clipped."""
        return self.clips_at_s[0] if self.clips_at_s else None
