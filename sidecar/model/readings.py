"""The numbers that flow through the sidecar, in the standards' own words.

Units: LUFS (loudness, full scale), LU (a difference of loudness), dBTP (true peak), dBFS (sample
peak), dB (gain), seconds. Silence is ``-inf``; the outlets turn it into what their wire can carry.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating]
"""Float32 or float64 samples or energies."""

SILENCE = -math.inf

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8_000, 384_000
"""Sample rates that can be measured."""
BLOCK_S = 0.1
"""Step of the gating blocks (BS.1770-5 Annex 1: 400 ms with 75 % overlap): the grid of everything
that is kept about a programme."""
MOMENTARY_S, SHORT_TERM_S = 0.4, 3.0
"""Lengths of the windows (Tech 3341 §2.2)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What the meter reads at one moment. Levels are ``-inf`` where there is nothing or silence: check for
    that, or for ``seconds``, before you subtract."""

    momentary: float = SILENCE
    """LUFS, 0.4 s window, ungated (Tech 3341 §2.2)."""
    short_term: float = SILENCE
    """LUFS, 3 s window, ungated (Tech 3341 §2.2)."""
    integrated: float = SILENCE
    """LUFS, gated, since the last reset (BS.1770-5 Annex 1)."""
    loudness_range: float = 0.0
    """LU since the last reset (Tech 3342)."""
    max_momentary: float = SILENCE
    """LUFS, highest since the last reset."""
    max_short_term: float = SILENCE
    """LUFS, highest since the last reset."""
    true_peak: tuple[float, ...] = ()
    """dBTP, one a channel, highest since the last reset (BS.1770-5 Annex 2)."""
    max_true_peak: float = SILENCE
    """dBTP, highest of all channels since the last reset."""
    sample_peak: float = SILENCE
    """dBFS, highest of all channels since the last reset."""
    seconds: float = 0.0
    """Seconds of programme measured since the last reset; pauses do not count."""
    range_is_stable: bool = False
    """False for the first 60 s, in which Tech 3341 §2.4 asks to flag the loudness range."""
    bad_samples: int = 0
    """NaN, infinite or absurd samples (+180 dBFS and up) since the last reset, measured as silence."""
    held_peak: tuple[float, ...] = ()
    """dBTP, one a channel, highest since the last reset of the peaks alone; a verdict never looks here."""
    channel_peak: tuple[float, ...] = ()
    """dBTP, one a channel, highest of the last 0.4 s: the live level. It goes on in a pause."""
    short_term_peak: float = SILENCE
    """dBTP, highest of all channels in the last 3 s."""
    correlation: float | None = None
    """−1 to +1, of the first two channels over the last second, unweighted (common practice, no source); None
    in mono, and where either is silent."""
    mono_loss_db: float = 0.0
    """dB by which the mono sum of the first two channels was softer than their mean over the last 3 s: 3
    where they have nothing in common, more where they cancel; ``inf`` where nothing is left."""

    @property
    def plr_lu(self) -> float:
        """Peak to loudness ratio: the highest true peak less the integrated loudness, both since the reset
        (common practice, no source); ``-inf`` where either is missing."""
        return _ratio(self.max_true_peak, self.integrated)

    @property
    def psr_lu(self) -> float:
        """Peak to short-term loudness ratio: the same of the last 3 s (common practice, no source)."""
        return _ratio(self.short_term_peak, self.short_term)


def _ratio(peak_dbtp: float, lufs: float) -> float:
    return peak_dbtp - lufs if math.isfinite(peak_dbtp) and math.isfinite(lufs) else SILENCE


MONO_LOSS_LIMIT_DB = 3.0
"""What unrelated channels lose; more is lost where they cancel (common practice: correlation below 0)."""


Limit = Literal["ceiling", "step", "range"]


@dataclass(frozen=True, slots=True)
class Move:
    """One fader move and what it does.

    It is advice from the pass so far: nothing is moved. A rise can hurt ears and loudspeakers.
    """

    gain_db: float = 0.0
    """The change to make from the present fader position; negative is down, 0 is leave it."""
    landing: float = SILENCE
    """LUFS the programme lands on if the move is made (central estimate)."""
    landing_low: float = SILENCE
    """Low end of the likely range (90 %) of the landing, LUFS."""
    landing_high: float = SILENCE
    """High end of the likely range (90 %) of the landing, LUFS."""
    limited_by: Limit | None = None
    """What kept the move from being larger: the true-peak ceiling, the step, the fader's range."""
    reason: str = ""
    """One plain sentence for the person."""

    @property
    def is_quiet(self) -> bool:
        """True when there is nothing to do and nothing in the way: the advice stays out of sight."""
        return self.gain_db == 0.0 and self.limited_by is None


AlertName = Literal["over", "hot", "ceiling", "lost", "silent"]
AlertState = Literal["off", "on", "latched"]

ALERT_NAMES: tuple[AlertName, ...] = ("ceiling", "over", "hot", "lost", "silent")


@dataclass(frozen=True, slots=True)
class Alert:
    """One warning. ``latched`` means: the cause is gone, and it has not been acknowledged yet."""

    name: AlertName
    state: AlertState = "off"
    value: float = SILENCE
    """What was measured: LUFS for over and hot, dBTP for ceiling, seconds for lost and silent. While hot is
    on, the highest since it came on."""
    limit: float = 0.0
    """What it is compared with, in the unit of ``value``."""
    since_s: float = 0.0
    """Time of the last change of ``state``, on the clock the watch was given."""


@dataclass(frozen=True, slots=True)
class Ride:
    """One place where the fader leaves its line and comes back."""

    start_s: float
    """Where the fader must be there; its ramp begins *ramp_s* earlier."""
    length_s: float
    """How long it stays there."""
    gain_db: float
    ramp_s: float
    """Time there, and time back, straight in dB; cut by the ends of the programme."""
